//! Names of stages and spots as people write them twice: "Lower bout", "lower-bout".

/// Place of the name among others that means the same: letter case, spaces and signs aside; where both sides have but one name, that one.
pub(super) fn partner(name: &str, of: usize, others: &[&str]) -> Option<usize> {
    let exactly = others.iter().position(|other| *other == name);
    let alike = || others.iter().position(|other| plain(other) == plain(name));
    exactly.or_else(alike).or((of == 1 && others.len() == 1).then_some(0))
}

/// Letters and digits alone, all small.
fn plain(text: &str) -> String {
    text.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect()
}

/// One name for a pair: both, where they do not mean the same.
pub(super) fn both_names(ours: &str, theirs: &str) -> String {
    if plain(ours) == plain(theirs) { ours.to_owned() } else { format!("{ours} beside {theirs}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_the_same_as_people_read_them() {
        let others = ["lower-bout", "Waist", "waist"];
        assert_eq!(partner("Lower bout", 3, &others), Some(0));
        assert_eq!(partner("waist", 3, &others), Some(2), "the very name goes first");
        assert_eq!(partner("tail", 3, &others), None);
        assert_eq!(partner("tail", 1, &["end block"]), Some(0), "one each");
        assert_eq!(partner("tail", 2, &["end block"]), None);
        assert_eq!(both_names("Bent", "bent"), "Bent");
        assert_eq!(both_names("plain", "laminated"), "plain beside laminated");
    }
}
