//! Named values: fuel system status, secondary air status, OBD requirement, fuel type (SAE J1979-DA).

/// PID $03: state of a fuel system. Values above 16 are from newer editions (from memory).
pub(super) const FUEL_SYSTEM: &[(u8, &str)] = &[
    (0, "off"),
    (1, "open loop, not ready for closed loop"),
    (2, "closed loop"),
    (4, "open loop because of driving conditions"),
    (8, "open loop because of a fault"),
    (16, "closed loop with a fault"),
    (32, "open loop on bank 2, not ready for closed loop"),
    (64, "open loop on bank 2 because of driving conditions"),
    (128, "open loop on bank 2 because of a fault"),
];

/// PID $12: where secondary air goes.
pub(super) const SECONDARY_AIR: &[(u8, &str)] = &[
    (1, "upstream of the catalyst"),
    (2, "downstream of the catalyst inlet"),
    (4, "atmosphere or off"),
    (8, "pump on for diagnosis"),
];

/// PID $1C: the requirement the vehicle was built to. Values from 36 on are from memory and left out.
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
];
