//! Which of the known words a mistyped one is meant to be.

use strsim::osa_distance;

/// The known word that a mistyped one is nearest to, if one is near: a third of its letters wrong,
/// or of a short one a letter, but never all.
pub(super) fn nearest<'k>(word: &str, known: impl Iterator<Item = &'k str>) -> Option<&'k str> {
    let near = known.map(|known| (osa_distance(word, known), known)).min();
    let near = near.filter(|(distance, known)| {
        let length = known.chars().count();
        3 * distance <= length.max(3) && *distance < length
    });
    near.map(|(_, known)| known)
}

/// The same as a question.
pub(super) fn meant<'k>(word: &str, known: impl Iterator<Item = &'k str>) -> String {
    nearest(word, known).map_or_else(String::new, |known| format!("; did you mean {known}?"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_is_near_by_a_third_of_its_letters() {
        for (word, known, is_near) in [
            ("averging", "averaging", true),
            ("avrgng", "averaging", true),
            ("avrgn", "averaging", false),
            ("sed", "seed", true),
            ("se", "seed", false),
            ("1", "1M", true),
            ("B", "A", false),
        ] {
            let near = nearest(word, [known, "another word"].into_iter());
            assert_eq!(near, is_near.then_some(known), "{word}");
        }
    }
}
