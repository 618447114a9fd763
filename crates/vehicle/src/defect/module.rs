//! Defects of the engine controller and of the wire that keeps its memory alive. They are there or not (our choice; makers
//! do not publish how memories fail).

use super::{
    Entry,
    Part::{EngineController, KeepAliveSupply},
    Size,
    Work::{Reconnect, Replace, Reprogram},
};

pub(super) static ENTRIES: &[Entry] = &[
    Entry {
        part: EngineController,
        kind: "memory-corrupted",
        size: Size::None,
        description: "a bit of the engine controller's memory with the figures of its engine has turned over",
        set: "a bit of the engine controller's calibration has turned over",
        seen: "a programming tool finds another content in the engine controller than was written",
        cures: &[(Reprogram, EngineController), (Replace, EngineController)],
        apply: |knobs, _| knobs.module.calibration_bit = true,
    },
    Entry {
        part: EngineController,
        kind: "program-corrupted",
        size: Size::None,
        description: "a bit of the engine controller's memory with its program has turned over",
        set: "a bit of the engine controller's program has turned over",
        seen: "a programming tool finds another content in the engine controller than was written",
        cures: &[(Reprogram, EngineController), (Replace, EngineController)],
        apply: |knobs, _| knobs.module.program_bit = true,
    },
    Entry {
        part: EngineController,
        kind: "ram-failing",
        size: Size::None,
        description: "a cell of the engine controller's RAM holds nothing any more",
        set: "a cell of the engine controller's RAM fails",
        seen: "",
        cures: &[(Replace, EngineController)],
        apply: |knobs, _| knobs.module.ram_cell = true,
    },
    Entry {
        part: EngineController,
        kind: "processor-failing",
        size: Size::None,
        description: "the engine controller's processor makes mistakes",
        set: "the engine controller's processor makes mistakes",
        seen: "",
        cures: &[(Replace, EngineController)],
        apply: |knobs, _| knobs.module.processor = true,
    },
    Entry {
        part: KeepAliveSupply,
        kind: "open",
        size: Size::None,
        description: "the wire that feeds the engine controller with the key off is broken: it forgets what it has learned",
        set: "the permanent supply of the engine controller is interrupted",
        seen: "with the key off 0 V at the engine controller's permanent supply: its wire is broken",
        cures: &[(Reconnect, KeepAliveSupply), (Replace, KeepAliveSupply)],
        apply: |knobs, _| knobs.module.keep_alive_lost = true,
    },
];
