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
