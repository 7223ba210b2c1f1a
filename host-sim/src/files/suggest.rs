//! "Did you mean": the nearest of some known words.

/// The candidate nearest to `word`, if one is near enough to be a slip of the keys: a third of the letters, at least one.
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let word: Vec<char> = plain(word);
    if word.len() > 40 {
        return None;
    }
    let mut best: Option<(usize, &str)> = None;
    for candidate in candidates {
        let letters = plain(candidate);
        let allowed = (letters.len().max(word.len()) / 3).max(1);
        let far = distance(&word, &letters);
        if far <= allowed && best.is_none_or(|(least, _)| far < least) {
            best = Some((far, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}

/// Capitals, hyphens and spaces are not what a person gets wrong.
fn plain(word: &str) -> Vec<char> {
    word.to_lowercase().chars().map(|c| if c == '-' || c == ' ' { '_' } else { c }).collect()
}

/// Edits from one word to another: a letter added, dropped, changed or swapped with its neighbour (optimal string alignment).
fn distance(a: &[char], b: &[char]) -> usize {
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (i, &x) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, &y) in b.iter().enumerate() {
            let mut cost = (last[j] + usize::from(x != y)).min(last[j + 1] + 1).min(row[j] + 1);
            if i > 0 && j > 0 && x == b[j - 1] && a[i - 1] == y {
                cost = cost.min(before[j - 1] + 1);
            }
            row.push(cost);
        }
        before = std::mem::replace(&mut last, row);
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::nearest;

    const WORDS: [&str; 4] = ["liquor_tank", "mash_tun", "boil_kettle", "element"];

    #[test]
    fn finds_a_slip_and_leaves_a_stranger_alone() {
        for (slip, meant) in
            [("elment", "element"), ("Liquor-Tank", "liquor_tank"), ("mash_tnu", "mash_tun"), ("boil_kettel", "boil_kettle")]
        {
            assert_eq!(nearest(slip, WORDS), Some(meant), "{slip}");
        }
        for stranger in ["", "x", "fermenter", "tank_of_something_else_entirely_and_long_besides"] {
            assert_eq!(nearest(stranger, WORDS), None, "{stranger}");
        }
    }
}
