//! The program on a real `vcan`, judged by programs that are not ours.
//!
//! Boots a Linux guest (`tests/guest`) that runs the release build against the kernel's ISO-TP socket, a Python client and
//! raw traffic, then reads what it recorded with packet analysers (`tests/peers`). The Python files there hold the
//! checks; this binary builds, boots, and holds the list of what must have been reported: a check that is missing has
//! failed, so a guest that dies early cannot pass. One group reads messages made here (`vectors`) and needs no guest.
//!
//! `cargo conformance [NAME ...]` runs those whose name holds a NAME; `--list` lists them. Where no guest can be had
//! every check is skipped, with the reason; with `CI` set a skip is a failure. `sh tests/run` installs what is missing.
//!
//! Not done by libtest: a skip found out at run time would have to be called passed there.

mod guest;
mod report;
mod vectors;

use std::process::ExitCode;
use std::time::Instant;

use crate::guest::{Guest, Unavailable};
use crate::report::Report;

/// All checks, by the Python file that makes them. The docs of each file name its outside source.
const CHECKS: &[(&str, &[&str])] = &[
    // The Linux kernel's ISO 15765-2 implementation, net/can/isotp.c.
    (
        "kernel_tester",
        &[
            "vin_200_times",
            "each_service_once",
            "every_supported_pid_has_its_length",
            "several_pids_in_one_request",
            "freeze_frame_as_its_mask_says",
            "vehicle_information",
            "unsupported_is_silence_or_refused",
            "clear_leaves_the_permanent_code",
            "ends_cleanly",
        ],
    ),
    // Packages python-can and can-isotp of PyPI.
    (
        "python_client",
        &[
            "reads_the_codes",
            "reads_the_freeze_frame",
            "clears_after_the_repair",
            "drives_from_cold",
            "is_silent_with_the_key_off",
            "reads_a_clean_memory",
            "ends_cleanly",
        ],
    ),
    // Package python-can of PyPI, with what `list broadcasts --json` says.
    (
        "broadcasts",
        &[
            "python_can_decodes_them_by_the_list",
            "answers_of_several_frames_come_among_them",
            "they_stop_with_the_key",
            "ends_cleanly",
        ],
    ),
    // The kernel's CAN_RAW sockets and vcan driver, Linux Documentation/networking/can.rst.
    (
        "traffic",
        &[
            "a_hundred_requests_without_waiting",
            "foreign_frames",
            "extended_requests_to_a_standard_car",
            "frames_that_are_no_request",
            "flexible_data_rate_frames",
            "error_frames",
            "abandoned_transfers",
            "interface_down_and_up",
            "ends_cleanly",
        ],
    ),
    // The program's own tester on SocketCAN, and its advice where there is no bus.
    (
        "own_commands",
        &[
            "scan_reads_a_car_on_vcan",
            "a_missing_interface_says_what_to_type",
            "an_interface_that_is_down_says_what_to_type",
            "ends_cleanly",
        ],
    ),
    // Content that is known, on the kernel's vcan; a reader of pcapng in Python (draft-ietf-opsawg-pcapng).
    (
        "recordings",
        &[
            "a_flood_is_there_or_counted",
            "every_kind_of_frame_on_two_buses",
            "a_recorder_killed_at_any_moment_loses_less_than_a_second",
            "the_car_records_what_is_said",
            "a_recorded_tester_asks_the_kernels_transport_again",
            "ends_cleanly",
        ],
    ),
    // The same sources; tc-tbf(8), clock_nanosleep(2).
    (
        "replays",
        &[
            "frames_arrive_in_their_order_and_never_early",
            "a_full_queue_is_waited_for",
            "a_bench_in_use_gets_no_frame",
            "somebody_else_later_stops_the_frames",
            "ends_cleanly",
        ],
    ),
    // Linux Documentation/networking/can.rst, linux/can/error.h, tc-tbf(8).
    (
        "link",
        &[
            "answers_through_a_full_queue_arrive_whole_and_in_order",
            "a_frame_of_an_answer_given_up_is_not_sent_later",
            "an_interface_down_and_up_in_mid_transfer",
            "ends_cleanly",
        ],
    ),
    (
        "link_events",
        &[
            "error_frames_are_decoded_and_told",
            "what_the_kernel_drops_is_counted",
            "a_removed_interface_ends_the_run",
            "scan_tells_how_long_answers_took",
            "ends_cleanly",
        ],
    ),
    // The identifiers of ISO 15765-4 on a vxcan pair.
    (
        "bench",
        &[
            "a_bus_in_use_is_refused_without_a_word",
            "whoever_answers_the_probe_refuses_the_car",
            "a_silent_bench_gets_its_car",
            "somebody_else_later_stops_the_car",
            "another_program_on_this_computer_counts_too",
            "frames_that_have_passed_are_told_apart_from_frames_queued",
            "scan_and_a_bus_without_a_wire",
            "a_recorded_tester_goes_where_only_the_recorded_ecus_are",
            "ends_cleanly",
        ],
    ),
    // What the kernel's ISO-TP does otherwise, net/can/isotp.c measured; ISO 15765-2 beside it.
    (
        "kernel_differences",
        &[
            "k01_the_kernel_does_not_pad_unless_told",
            "k02_the_kernel_waits_a_second",
            "k03_the_kernel_takes_first_frames_of_6_and_7_bytes",
            "k04_the_kernel_takes_short_escape_frames",
            "k05_length_zero_is_the_escape_for_both",
            "k06_the_kernel_stops_its_timer_at_a_short_consecutive_frame",
            "k07_a_new_message_takes_the_place_of_a_half_one_for_both",
            "k08_flow_control_counts_only_while_awaited_for_both",
            "k09_the_kernel_keeps_what_a_wait_said",
            "k10_both_wait_as_often_as_they_are_told",
            "k11_reserved_values_of_flow_control_for_both",
            "k12_neither_is_faster_than_st_min",
            "k13_while_a_message_leaves",
            "k14_each_kernel_socket_answers",
            "k15_the_kernel_takes_longer_messages",
            "k16_4095_bytes_need_no_escape",
            "k17_functional_identifiers_are_nothing_special_to_the_kernel",
            "k18_each_frame_follows_the_one_before",
            "k19_a_fallen_interface_is_an_error_to_a_socket",
            "ends_cleanly",
        ],
    ),
    // The transport cases of `tests/support/cases`, each with its own source.
    (
        "transport_cases",
        &[
            "hold_on_the_program",
            "hold_on_a_small_ecu",
            "none_is_missing",
            "ends_cleanly",
        ],
    ),
    // The kernel's ISO-TP socket at both ends, against it at one.
    (
        "transfer_cost",
        &[
            "an_answer_of_20_bytes",
            "a_request_of_4095_bytes",
            "an_echo_of_4095_bytes",
            "ends_cleanly",
        ],
    ),
    // A bare echo process on the same kernel; proc(5).
    (
        "cost",
        &[
            "a_single_frame_answer",
            "an_answer_of_a_car_that_keeps_its_memory",
            "memory",
            "processor_of_an_idle_car",
            "processor_while_time_stands",
            "ends_cleanly",
        ],
    ),
    // The same once more with a clock that counts instructions: there the goals are held.
    (
        "counted_cost",
        &[
            "a_single_frame_answer",
            "an_answer_of_a_car_that_keeps_its_memory",
            "ends_cleanly",
        ],
    ),
    (
        "counted_recordings",
        &["thirty_thousand_frames_a_second_are_all_there", "ends_cleanly"],
    ),
    (
        "counted_replays",
        &["frames_are_as_late_as_a_bare_sleep", "ends_cleanly"],
    ),
    (
        "counted_transfer_cost",
        &[
            "an_answer_of_20_bytes",
            "a_request_of_4095_bytes",
            "an_echo_of_4095_bytes",
            "ends_cleanly",
        ],
    ),
    // tshark (Debian) and scapy (PyPI) on the recordings.
    (
        "analysers",
        &[
            "tshark_reads_the_vin",
            "tshark_reads_single_values",
            "tshark_reads_codes",
            "tshark_finds_nothing_malformed",
            "scapy_reads_the_vin",
            "scapy_reads_single_values",
            "scapy_reads_codes",
            "scapy_reads_readiness",
            "answers_begin_within_p2",
            "flood_answers_begin_within_p2",
            "tshark_reads_recordings_as_explain_does",
            "scapy_reads_recordings_as_explain_does",
            "recordings_of_other_writers_are_explained",
        ],
    ),
    // The same two on messages made from the program's tables, without a guest: `vectors`.
    (
        VECTORS,
        &[
            "tshark_reads_every_parameter",
            "tshark_reads_masks",
            "tshark_reads_vin_and_name",
            "tshark_finds_nothing_malformed",
            "scapy_reads_every_parameter",
            "scapy_reads_every_frozen_parameter",
            "scapy_reads_masks",
            "scapy_reads_every_unit_of_test_results",
            "scapy_knows_every_monitor",
            "scapy_reads_codes",
            "scapy_reads_information",
            "scapy_reads_other_answers",
            "scapy_reads_requests",
        ],
    ),
];

/// How the groups begin that need a guest whose clock counts instructions.
const COUNTED: &str = "counted_";
/// The group that needs no guest.
const VECTORS: &str = "vectors";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let names: Vec<String> = arguments
        .iter()
        .filter(|argument| !argument.starts_with('-'))
        .cloned()
        .collect();
    let wanted = wanted_groups(&names);
    if arguments.iter().any(|argument| argument == "--list") {
        for check in &wanted {
            println!("{check}: test");
        }
        return ExitCode::SUCCESS;
    }
    if wanted.is_empty() {
        println!("conformance: 0 passed, 0 failed, 0 skipped");
        return ExitCode::SUCCESS;
    }

    let started = Instant::now();
    let with_analysers = wanted.iter().any(|check| check.starts_with("analysers::"));
    let (outside, inside): (Vec<String>, Vec<String>) = wanted
        .iter()
        .cloned()
        .partition(|check| check.starts_with(VECTORS));
    let mut report = Report::default();
    if !inside.is_empty() {
        match Guest::prepare() {
            Ok(guest) => {
                let (counted, timed): (Vec<String>, Vec<String>) = inside
                    .iter()
                    .cloned()
                    .partition(|check| check.starts_with(COUNTED));
                guest.run(&timed, &counted, with_analysers, &mut report);
            }
            Err(Unavailable(reason)) => report.skip(&inside, &reason),
        }
    }
    if !outside.is_empty() {
        vectors::run(&mut report, &outside);
    }
    report.hold_against(&wanted);
    if std::env::var_os("CI").is_some() {
        report.fail_what_was_skipped();
    }
    report.print(started.elapsed());
    if report.has_failed() {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    }
}

/// The checks to run. Within a group a step builds on those before it, and the analysers read what other groups
/// recorded, so naming one check runs all of its group, and naming an analyser's runs all that need the guest.
fn wanted_groups(names: &[String]) -> Vec<String> {
    let full = |group: &str, check: &str| format!("{group}::{check}");
    let is_named = |group: &str, checks: &[&str]| {
        names.is_empty()
            || checks.iter().any(|check| {
                names
                    .iter()
                    .any(|name| full(group, check).contains(name.as_str()))
            })
    };
    let all = CHECKS
        .iter()
        .any(|(group, checks)| *group == "analysers" && is_named(group, checks));
    CHECKS
        .iter()
        .filter(|(group, checks)| (all && *group != VECTORS) || is_named(group, checks))
        .flat_map(|(group, checks)| checks.iter().map(|check| full(group, check)))
        .collect()
}
