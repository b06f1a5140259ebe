//! Letters as a grower reads them: kept whole, and read like prose in review.

use covercast::advice::text;

use crate::small_orchard::SmallOrchard;

fn keep(name: &str, orchard: &SmallOrchard) {
    let letter = orchard.letter();
    let whole = format!("Subject: {}\n\n{}", letter.subject, text::render(&letter));
    insta::with_settings!({ snapshot_path => "../snapshots", prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!(name, whole);
    });
}

#[test]
fn a_dry_afternoon_before_picking_is_a_go() {
    keep("go_morning", &SmallOrchard::on_a_dry_morning());
}

/// Writes mail, picture and chart of the dry morning where `LETTER_FOLDER` says, for looking at them.
#[test]
fn the_dry_morning_can_be_looked_at() {
    use covercast::advice::{chart, html};
    let letter = SmallOrchard::on_a_dry_morning().letter();
    let facts = letter.chart.as_ref().unwrap();
    let narrow = chart::svg(facts, chart::Width::Narrow);
    let picture = chart::png(&narrow).unwrap();
    let page = html::render(&letter, Some("chart")).unwrap();
    assert!(
        page.len() < 60_000 && picture.len() < 60_000,
        "{} and {} bytes",
        page.len(),
        picture.len()
    );
    if let Ok(folder) = std::env::var("LETTER_FOLDER") {
        let folder = std::path::Path::new(&folder);
        std::fs::write(folder.join("chart.png"), &picture).unwrap();
        std::fs::write(folder.join("narrow.svg"), &narrow).unwrap();
        std::fs::write(folder.join("wide.svg"), chart::svg(facts, chart::Width::Wide)).unwrap();
        std::fs::write(folder.join("letter.html"), page.replace("cid:chart", "chart.png")).unwrap();
    }
}
