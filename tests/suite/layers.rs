//! Holds the code to the table of modules in `DEVELOPERS.md`.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

struct Row {
    may_use: BTreeSet<String>,
    may_touch: BTreeSet<String>,
}

/// What a row that may not touch it must not say, as whole path pieces.
const TOUCH: [(&str, &[&str]); 4] = [
    ("files", &["std::fs", "tokio::fs", "File::open", "File::create"]),
    ("network", &["reqwest", "TcpListener", "TcpStream"]),
    (
        "tasks",
        &["async fn", "async move", ".await", "tokio::", "Mutex", "RwLock"],
    ),
    ("prints", &["println!", "eprintln!", "print!(", "std::env::"]),
];

#[test]
fn every_module_leans_only_on_rows_named_in_the_table() {
    let table = table();
    let mut seen = BTreeSet::new();
    let mut faults = Vec::new();
    for (module, file) in sources() {
        seen.insert(module.clone());
        let Some(row) = table.get(&module) else {
            faults.push(format!(
                "{}: module `{module}` has no row in DEVELOPERS.md",
                file.display()
            ));
            continue;
        };
        let text = shipped_code(&fs::read_to_string(&file).unwrap());
        for used in used_modules(&text) {
            if used != module && !row.may_use.contains(&used) {
                faults.push(format!("{}: `{module}` may not use `{used}`", file.display()));
            }
        }
        for (thing, words) in TOUCH {
            if row.may_touch.contains(thing) {
                continue;
            }
            for word in words.iter().filter(|word| text.contains(*word)) {
                faults.push(format!(
                    "{}: `{module}` may not touch {thing} (`{word}`)",
                    file.display()
                ));
            }
        }
    }
    for name in table.keys().filter(|name| !seen.contains(*name)) {
        faults.push(format!("DEVELOPERS.md names `{name}`, which is not in src"));
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn rows_lean_only_upwards() {
    let mut above = BTreeSet::new();
    for (name, row) in ordered_table() {
        for used in &row.may_use {
            assert!(
                above.contains(used),
                "`{name}` uses `{used}`, which does not stand above it"
            );
        }
        above.insert(name);
    }
    assert!(above.len() > 10, "the table was not read: {above:?}");
}

#[test]
fn every_file_of_the_suite_is_listed() {
    let main = fs::read_to_string(root().join("tests/suite/main.rs")).unwrap();
    for entry in fs::read_dir(root().join("tests/suite")).unwrap() {
        let path = entry.unwrap().path();
        let Some(stem) = path.file_stem().and_then(|stem| stem.to_str()) else {
            continue;
        };
        if path.extension().is_some_and(|ext| ext == "rs") && stem != "main" {
            assert!(
                main.contains(&format!("mod {stem};")),
                "tests/suite/{stem}.rs is not listed in main.rs"
            );
        }
    }
}

#[test]
fn the_check_sees_a_forbidden_path() {
    let found = used_modules("use crate::store::Letter;\nlet x = crate::{farm::Farm, plan};");
    assert_eq!(found, ["farm", "plan", "store"].map(str::to_owned).into());
    assert!(!shipped_code("fn a() {}\n#[cfg(test)]\nmod tests { use crate::store; }").contains("store"));
    assert!(!shipped_code("// see crate::store\nfn a() {}").contains("store"));
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn ordered_table() -> Vec<(String, Row)> {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    text.lines()
        .skip_while(|line| !line.starts_with("| module |"))
        .skip(2)
        .take_while(|line| line.starts_with('|'))
        .map(|line| {
            let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
            let words = |cell: &str| cell.split_whitespace().map(str::to_owned).collect::<BTreeSet<_>>();
            (
                cells[0].to_owned(),
                Row {
                    may_use: words(cells[2]),
                    may_touch: words(cells[3]),
                },
            )
        })
        .collect()
}

fn table() -> BTreeMap<String, Row> {
    ordered_table().into_iter().collect()
}

/// Every source file with the module it belongs to.
fn sources() -> Vec<(String, PathBuf)> {
    let mut found = Vec::new();
    let mut folders = vec![root().join("src")];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ext| ext == "rs") {
                let inside = path.strip_prefix(root().join("src")).unwrap();
                let first = inside.components().next().unwrap().as_os_str().to_str().unwrap();
                let module = first.strip_suffix(".rs").unwrap_or(first).to_owned();
                if module != "lib" && module != "main" {
                    found.push((module, path));
                }
            }
        }
    }
    found
}

/// The code that ships: without comments and without the test module at the end of a file.
fn shipped_code(text: &str) -> String {
    let code = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
    code.lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .collect::<Vec<_>>()
        .join("\n")
}

/// Names behind `crate::`, braces included.
fn used_modules(text: &str) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for part in text.split("crate::").skip(1) {
        if let Some(list) = part.strip_prefix('{') {
            let (mut depth, mut name, mut fresh) = (0_usize, String::new(), true);
            for sign in list.chars() {
                match sign {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => fresh = true,
                    ':' if depth == 0 => {
                        found.insert(std::mem::take(&mut name));
                        fresh = false;
                    }
                    sign if depth == 0 && fresh && (sign.is_alphanumeric() || sign == '_') => name.push(sign),
                    _ => {}
                }
                if sign == ',' && depth == 0 && !name.is_empty() {
                    found.insert(std::mem::take(&mut name));
                }
            }
            if !name.is_empty() {
                found.insert(name);
            }
        } else {
            found.insert(
                part.chars()
                    .take_while(|sign| sign.is_alphanumeric() || *sign == '_')
                    .collect(),
            );
        }
    }
    found.remove("");
    found
}
