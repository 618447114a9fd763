//! Named values (SAE J1979-DA): status of systems, requirements, fuels.

/// PID $03: state of a fuel system. Values above 16 are from newer editions (from memory).
pub(super) const FUEL_SYSTEM: &[(u8, &str)] = &fuel_system("off");

/// Of the second system: 0 is also what an engine without one says, and nothing tells the two apart (SAE J1979: bits that
/// are not used are 0).
pub(super) const FUEL_SYSTEM_2: &[(u8, &str)] = &fuel_system("not used or off");

const fn fuel_system(none: &'static str) -> [(u8, &'static str); 9] {
    [
        (0, none),
        (1, "open loop, not ready for closed loop"),
        (2, "closed loop"),
        (4, "open loop because of driving conditions"),
        (8, "open loop because of a fault"),
        (16, "closed loop with a fault"),
        (32, "open loop on bank 2, not ready for closed loop"),
        (64, "open loop on bank 2 because of driving conditions"),
        (128, "open loop on bank 2 because of a fault"),
    ]
}

/// PID $12: where secondary air goes.
pub(super) const SECONDARY_AIR: &[(u8, &str)] = &[
    (1, "upstream of the catalyst"),
    (2, "downstream of the catalyst inlet"),
    (4, "atmosphere or off"),
    (8, "pump on for diagnosis"),
];

/// PID $1C: the requirement the vehicle was built to. Values from 36 on are from memory; 251 to 255 are never assigned.
pub(super) const REQUIREMENT: &[(u8, &str)] = &[
    (1, "OBD II (California)"),
    (2, "OBD (US EPA)"),
    (3, "OBD and OBD II"),
    (4, "OBD I"),
    (5, "not OBD compliant"),
    (6, "EOBD"),
    (7, "EOBD and OBD II"),
    (8, "EOBD and OBD"),
    (9, "EOBD, OBD and OBD II"),
    (10, "JOBD"),
    (11, "JOBD and OBD II"),
    (12, "JOBD and EOBD"),
    (13, "JOBD, EOBD and OBD II"),
    (14, "OBD, EOBD and KOBD"),
    (15, "OBD, OBD II, EOBD and KOBD"),
    (17, "engine manufacturer diagnostics"),
    (18, "enhanced engine manufacturer diagnostics"),
    (19, "partial heavy-duty OBD"),
    (20, "heavy-duty OBD"),
    (21, "world-wide harmonised OBD"),
    (23, "heavy-duty EOBD stage I"),
    (24, "heavy-duty EOBD stage I with NOx control"),
    (25, "heavy-duty EOBD stage II"),
    (26, "heavy-duty EOBD stage II with NOx control"),
    (27, "heavy-duty zero emission vehicle"),
    (28, "Brazil OBD phase 1"),
    (29, "Brazil OBD phase 2"),
    (30, "KOBD"),
    (31, "India OBD I"),
    (32, "India OBD II"),
    (33, "heavy-duty EOBD stage VI"),
    (34, "OBD, OBD II and heavy-duty OBD"),
    (35, "Brazil OBD phase 3"),
    (36, "motorcycle, Euro OBD I"),
    (37, "motorcycle, Euro OBD II"),
    (38, "motorcycle, China OBD I"),
    (39, "motorcycle, Taiwan OBD I"),
    (40, "motorcycle, Japan OBD I"),
    (41, "China stage 6"),
    (42, "Brazil OBD diesel"),
];

/// PID $51: the fuel in use.
pub(super) const FUEL_TYPE: &[(u8, &str)] = &[
    (0, "not available"),
    (1, "gasoline"),
    (2, "methanol"),
    (3, "ethanol"),
    (4, "diesel"),
    (5, "LPG"),
    (6, "CNG"),
    (7, "propane"),
    (8, "electric"),
    (9, "bi-fuel on gasoline"),
    (10, "bi-fuel on methanol"),
    (11, "bi-fuel on ethanol"),
    (12, "bi-fuel on LPG"),
    (13, "bi-fuel on CNG"),
    (14, "bi-fuel on propane"),
    (15, "bi-fuel on electricity"),
    (16, "bi-fuel on engine and electricity"),
    (17, "hybrid, gasoline"),
    (18, "hybrid, ethanol"),
    (19, "hybrid, diesel"),
    (20, "hybrid, electric"),
    (21, "hybrid, engine and electric"),
    (22, "hybrid, regenerating"),
    (23, "bi-fuel on diesel"),
    (24, "natural gas"),            // from memory
    (25, "bi-fuel on natural gas"), // from memory
];

/// PID $5F: the emission requirement the vehicle was built to.
pub(super) const EMISSION_REQUIREMENT: &[(u8, &str)] = &[
    (14, "heavy-duty Euro IV B1"),
    (15, "heavy-duty Euro V B2"),
    (16, "heavy-duty Euro EEV C"),
];

/// PIDs $70 and $71: state of a control (from memory).
pub(super) const CONTROL_STATUS: &[(u8, &str)] = &[
    (0, "reserved"),
    (1, "open loop"),
    (2, "closed loop"),
    (3, "fault, data not reliable"),
];

/// PID $65, automatic transmission (from memory).
pub(super) const GEAR_SELECTED: &[(u8, &str)] = &[(0, "park or neutral"), (1, "drive or reverse")];

/// PID $65, manual transmission (from memory).
pub(super) const NEUTRAL_OR_GEAR: &[(u8, &str)] = &[(0, "neutral or clutch open"), (1, "in gear")];

/// PID $8B: regeneration of a filter (from memory).
pub(super) const ACTIVE_OR_PASSIVE: &[(u8, &str)] = &[(0, "passive"), (1, "active")];

/// PID $92 (from memory).
pub(super) const LOOP: &[(u8, &str)] = &[(0, "open loop"), (1, "closed loop")];

/// PID $9A (from memory).
pub(super) const SUSTAINING_OR_DEPLETING: &[(u8, &str)] = &[(0, "sustaining"), (1, "depleting")];
