use super::*;

/// What a text means, canonically.
fn canonical(text: &str) -> String {
    parse_phrase(text)
        .unwrap_or_else(|problem| panic!("{text}: {problem:?}"))
        .to_string()
}

/// The examples are the list that users copy from, so each must parse, and to itself.
#[test]
fn examples_of_the_help_parse_to_themselves() {
    for help in HELP {
        let again = canonical(help.example);
        if !help.example.contains(" in") {
            assert_eq!(again, help.example);
        }
        assert_eq!(canonical(&again), again);
    }
}
