//! The legal word that a misspelt one was probably meant to be.

/// The candidate nearest to `word`, if it is near enough to be meant: at most
/// a third of its letters differ (own choice), or one word begins with the other.
pub(super) fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let word = word.to_lowercase().replace('_', "-");
    candidates
        .into_iter()
        .map(|candidate| (distance(&word, candidate), candidate))
        .filter(|(distance, candidate)| {
            let begins = word.len() >= 3 && (candidate.starts_with(&word) || word.starts_with(candidate));
            begins || *distance <= (candidate.chars().count() / 3).max(1)
        })
        .min()
        .map(|(_, candidate)| candidate)
}

/// Edit distance with neighbours swapped counting once (optimal string
/// alignment: Damerau 1964, without repeated edits of one place).
fn distance(one: &str, other: &str) -> usize {
    let one: Vec<char> = one.chars().collect();
    let other: Vec<char> = other.chars().collect();
    let mut rows = vec![(0..=other.len()).collect::<Vec<usize>>()];
    for (i, a) in one.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, b) in other.iter().enumerate() {
            let mut least = (rows[i][j] + usize::from(a != b)).min(rows[i][j + 1] + 1).min(row[j] + 1);
            if i > 0 && j > 0 && *a == other[j - 1] && one[i - 1] == *b {
                least = least.min(rows[i - 1][j - 1] + 1);
            }
            row.push(least);
        }
        rows.push(row);
    }
    rows[one.len()][other.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    // Own examples of slips of the finger; what to suggest is common sense, no source.
    #[test]
    fn finds_the_word_that_was_meant() {
        let keys = ["rinse-min", "rinse-max", "rinse-time", "wash-time", "name", "kind"];
        for (word, expected) in [
            ("rinse_min", Some("rinse-min")),
            ("rinse-mni", Some("rinse-min")),
            ("Wash-Time", Some("wash-time")),
            ("nam", Some("name")),
            ("colour", None),
            ("", None),
        ] {
            assert_eq!(nearest(word, keys), expected, "{word}");
        }
    }
}
