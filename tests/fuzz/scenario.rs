//! Scenario files, vehicle files, phrases.

use twotrip_scenario::{Problem, Scenario, VehicleModel, parse_phrase, parse_script, shipped, vehicle};

use crate::target::Target;

pub(crate) fn target() -> Target {
    let mut examples: Vec<Vec<u8>> = shipped::ALL
        .iter()
        .map(|shipped| shipped.text.as_bytes().to_vec())
        .collect();
    examples.extend(
        vehicle::SHIPPED
            .iter()
            .map(|shipped| shipped.text.as_bytes().to_vec()),
    );
    let phrases = shipped::ALL
        .iter()
        .filter_map(|shipped| Scenario::parse(shipped.text.as_bytes()).ok())
        .flat_map(|scenario| scenario.story().to_vec())
        .map(|phrase| phrase.value.to_string().into_bytes());
    examples.extend(phrases.take(200));
    Target {
        name: "scenarios, vehicles and phrases",
        inputs: 12_000,
        longest: 8192,
        memory: 2 * 1024 * 1024,
        examples,
        feed,
    }
}

/// Problems lie within the text, on the borders of its characters, and say something.
fn look_at(text: &[u8], problems: &[Problem]) -> usize {
    for problem in problems {
        let span = problem.span();
        assert!(span.start <= span.end && span.end <= text.len(), "{problem:?}");
        if let Ok(text) = core::str::from_utf8(text) {
            assert!(text.get(span).is_some(), "{problem:?}");
        }
        assert!(!problem.to_string().is_empty());
    }
    problems.len().min(20)
}

fn feed(input: &[u8]) -> usize {
    let mut depth = match Scenario::parse(input) {
        Ok(scenario) => 1000 + scenario.story().len().min(100),
        Err(problems) => look_at(input, &problems),
    };
    depth += match VehicleModel::parse(input) {
        Ok(_) => 2000,
        Err(problems) => 30 * look_at(input, &problems),
    };
    if let Ok(text) = core::str::from_utf8(input) {
        match parse_phrase(text) {
            Ok(phrase) => {
                // What it says of itself is the same phrase.
                assert_eq!(parse_phrase(&phrase.to_string()).as_ref(), Ok(&phrase));
                depth += 5000;
            }
            Err(problem) => depth += look_at(input, &[problem]),
        }
        if let Err(problems) = parse_script(text) {
            look_at(input, &problems);
        }
    }
    depth
}
