//! Changes of a good reply.

use fastrand::Rng;

/// A good reply with one to four changes.
pub(crate) fn changed(seeds: &[Vec<u8>], chance: &mut Rng) -> Vec<u8> {
    let mut body = seeds[chance.usize(..seeds.len())].clone();
    for _ in 0..chance.usize(1..=4) {
        match chance.u8(..10) {
            0 => flip(&mut body, chance),
            1 => body.truncate(chance.usize(..=body.len())),
            2 => cut_out(&mut body, chance),
            3 => repeat(&mut body, chance),
            4 | 5 => number(&mut body, chance),
            6 => {
                let deep = nest(chance.usize(1..3000));
                insert(&mut body, chance, deep.as_bytes());
            }
            7 => double_key(&mut body, chance),
            8 => {
                let long = "x".repeat(chance.usize(1..70_000));
                insert(&mut body, chance, long.as_bytes());
            }
            _ => {
                let other = &seeds[chance.usize(..seeds.len())];
                let part = part(other, chance, 4000);
                insert(&mut body, chance, &other[part]);
            }
        }
    }
    body
}

fn part(body: &[u8], chance: &mut Rng, longest: usize) -> std::ops::Range<usize> {
    let start = chance.usize(..=body.len());
    start..(start + chance.usize(..=longest)).min(body.len())
}

fn flip(body: &mut [u8], chance: &mut Rng) {
    for _ in 0..chance.usize(1..8) {
        if !body.is_empty() {
            let place = chance.usize(..body.len());
            body[place] ^= 1 << chance.u8(..8);
        }
    }
}

fn cut_out(body: &mut Vec<u8>, chance: &mut Rng) {
    let part = part(body, chance, 2000);
    body.drain(part);
}

fn repeat(body: &mut Vec<u8>, chance: &mut Rng) {
    let part = part(body, chance, 500);
    let again = body[part].repeat(chance.usize(1..20));
    insert(body, chance, &again);
}

fn insert(body: &mut Vec<u8>, chance: &mut Rng, what: &[u8]) {
    let place = chance.usize(..=body.len());
    body.splice(place..place, what.iter().copied());
}

fn nest(deep: usize) -> String {
    format!("{}{}", "[".repeat(deep), "]".repeat(deep))
}

/// Puts something else in place of a number.
fn number(body: &mut Vec<u8>, chance: &mut Rng) {
    const INSTEAD: [&str; 16] = [
        "null",
        "-1",
        "0",
        "1e308",
        "1e999",
        "-0.0",
        "99999999999999999999",
        "NaN",
        "\"12.5\"",
        "true",
        "[]",
        "{}",
        "140",
        "9223372036854775807",
        "1e-300",
        "\"\"",
    ];
    if body.is_empty() {
        return;
    }
    let from = chance.usize(..body.len());
    let is_number = |byte: &u8| byte.is_ascii_digit() || *byte == b'.' || *byte == b'-';
    let Some(start) = body[from..].iter().position(is_number).map(|start| from + start) else {
        return;
    };
    let length = body[start..].iter().position(|byte| !is_number(byte)).unwrap_or(1);
    let instead = INSTEAD[chance.usize(..INSTEAD.len())];
    body.splice(start..start + length, instead.bytes());
}

/// Writes a key with what follows it a second time.
fn double_key(body: &mut Vec<u8>, chance: &mut Rng) {
    if body.is_empty() {
        return;
    }
    let from = chance.usize(..body.len());
    let Some(start) = body[from..]
        .iter()
        .position(|byte| *byte == b'"')
        .map(|start| from + start)
    else {
        return;
    };
    let Some(end) = body[start..]
        .iter()
        .position(|byte| *byte == b',')
        .map(|end| start + end + 1)
    else {
        return;
    };
    let again = body[start..end].to_vec();
    body.splice(start..start, again);
}
