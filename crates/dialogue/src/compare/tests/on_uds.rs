//! Answers of SAE J1979-2, then and now.

use super::*;

#[test]
fn each_kind_of_answer_is_compared_by_what_it_says() {
    for (recorded, found, marks, text) in [
        // Data as those of SAE J1979.
        (
            "62 F4 0C 0C B0",
            "62 F4 0C 20 F8",
            "=!",
            "engine speed 812 -> 2110 rpm",
        ),
        (
            "62 F4 0C 0C B0 F4 0D 50",
            "62 F4 0C 0C B0 F4 05 50",
            "!!",
            "coolant temperature appeared, vehicle speed gone",
        ),
        (
            "62 F4 01 00 07 E5 00",
            "62 F4 01 81 07 E5 00",
            "!!",
            "monitors since clear: lamp command off -> on, monitors since clear: confirmed codes 0 -> 1",
        ),
        (
            "62 F4 00 00 10 00 00",
            "62 F4 00 00 18 00 00",
            "!!",
            "support of PID $0D (vehicle speed) appeared",
        ),
        (
            "62 F6 00 80 00 00 00",
            "62 F6 00 00 00 00 00",
            "!!",
            "support of monitor $01 gone",
        ),
        (
            "62 F8 00 40 00 00 00",
            "62 F8 00 50 00 00 00",
            "!!",
            "support of InfoType $04 appeared",
        ),
        (
            "62 F6 21 80 24 00 10 00 00 00 60",
            "62 F6 21 80 24 00 20 00 00 00 60",
            "=!",
            "catalyst, bank 1, test $80 16 -> 32",
        ),
        (
            "62 F8 02 30 54 57 30 30 54 52 50 33 41 30 30 30 30 30 34 32",
            "62 F8 02 30 54 57 30 30 54 52 50 37 56 30 30 30 30 30 35 31",
            "!!",
            "vehicle identification number 0TW00TRP3A0000042 -> 0TW00TRP7V0000051",
        ),
        (
            "62 F1 90 41 42",
            "62 F1 90 41 43",
            "=!",
            "data identifier $F190 41 42 -> 41 43",
        ),
        // Codes, their status and severity. Bits of the last test and of this driving cycle live.
        (
            "59 42 33 FF E1 04 41 04 55 7A 2F",
            "59 42 33 FF E1 04",
            "!!",
            "confirmed code P0455-7A gone",
        ),
        (
            "59 42 33 FF E1 04",
            "59 42 33 FF E1 04 41 04 55 7A 27",
            "!!",
            "pending code P0455-7A appeared",
        ),
        (
            "59 42 33 FF E1 04 41 04 55 7A 2C",
            "59 42 33 FF E1 04 41 04 55 7A 6F",
            "=!",
            "status of P0455-7A: nothing -> failing, failed in this cycle, not run in this cycle",
        ),
        (
            "59 42 33 FF E1 04 41 04 55 7A 27",
            "59 42 33 FF E1 04 41 04 55 7A AF",
            "!!",
            "status of P0455-7A: nothing -> confirmed, lamp on",
        ),
        (
            "59 42 33 FF E1 04 21 04 55 7A 27",
            "59 42 33 FF E1 04 81 04 55 7A 27",
            "!!",
            "severity of P0455-7A: maintenance only -> check at once",
        ),
        (
            "59 42 33 FF E1 04",
            "59 42 33 2F E1 04",
            "!!",
            "status bits that there are: \
            failing, failed in this cycle, pending, confirmed, not run since clear, failed since clear, not run in this cycle, \
            lamp on -> failing, failed in this cycle, pending, confirmed, failed since clear",
        ),
        (
            "59 55 33 FF 04 03 01 00 AF",
            "59 55 33 FF 04 03 02 00 AF",
            "!!",
            "permanent code P0301-00 gone, permanent code P0302-00 appeared",
        ),
        (
            "59 56 33 FF 04 01 04 55 7A 10",
            "59 56 33 FF 04 01 04 55 7A 00",
            "!!",
            "status of P0455-7A: not run since clear -> nothing",
        ),
        // Freeze frames: values as in live data, with the frame beside their names.
        (
            "59 04 04 55 7A 2F 00 01 F4 0C 0C B0",
            "59 04 04 55 7A 2F 00 01 F4 0C 20 F8",
            "=!",
            "engine speed (first freeze frame of P0455-7A) 812 -> 2110 rpm",
        ),
        (
            "59 04 04 55 7A 2F 00 01 F4 0D 50 F0 01 F4 0D 50",
            "59 04 04 55 7A 2F 00 01 F4 0D 50",
            "!!",
            "latest freeze frame of P0455-7A gone",
        ),
        (
            "59 06 04 55 7A 2F 92 00 03 00 09",
            "59 06 04 55 7A 2F 92 00 04 00 20",
            "=!",
            "in-use completions of P0455-7A 3 -> 4, in-use conditions of P0455-7A 9 -> 32",
        ),
        (
            "59 06 04 55 7A 2F 01 02 00 00",
            "59 06 04 55 7A 2F 01 03 00 00",
            "=!",
            "extended data of P0455-7A 01 02 00 00 -> 01 03 00 00",
        ),
        (
            "71 01 E0 01 00",
            "71 01 E0 01 01",
            "=!",
            "data of the routine 00 -> 01",
        ),
        // Of another kind, or to another question: as a whole.
        (
            "62 F4 0C 0C B0",
            "7F 22 31",
            "!!",
            "answer: engine speed 812 rpm -> data by identifier refused: request out of range ($31)",
        ),
        // Nobody can read it: one byte less is another length.
        (
            "59 55 33 FF 04 03 01 00",
            "59 55 33 FF 04 03 01",
            "!!",
            "length of data 7 -> 6 bytes",
        ),
    ] {
        let marked: String = ["shape", FIVE]
            .map(|comparison| told(recorded, found, comparison).chars().next().unwrap())
            .iter()
            .collect();
        let exact = told(recorded, found, "exact");
        assert!(exact.starts_with('!'), "{recorded} | {found}: {exact}");
        assert_eq!(exact[2..], *text, "{recorded} | {found}");
        assert_eq!(marked, marks, "{recorded} | {found}");
    }
}
