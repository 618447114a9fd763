//! The module's tests of itself: sums over what is written in its memory, a test of every cell of its RAM, questions to
//! its processor, and a mark in the memory that the permanent supply keeps alive (13 CCR 1968.2(e)(15.2), from memory:
//! the control module is a component like others; how it tests itself is common practice, no source).
//!
//! Sums and RAM are tested when the key comes on, the processor all the time.

use twotrip_harness::ModuleCondition;

/// What the tests found wrong.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SelfTest {
    /// The sum over the calibration is not what was written.
    pub calibration: bool,
    /// The sum over the program is not what was written.
    pub program: bool,
    /// A cell of the RAM does not hold what is written into it.
    pub ram: bool,
    /// The processor gave a wrong answer last.
    pub processor: bool,
    /// The mark in the keep-alive memory was gone; for the next driving cycle to tell.
    pub keep_alive: bool,
}

/// Cells of RAM that are tested, bytes.
const CELLS: usize = 64;
/// The one that is worn, where one is, and the bit that stays set in it.
const WORN: (usize, u8) = (41, 0x10);

/// The module as its own tests see it.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Module {
    found: SelfTest,
    /// The content of the keep-alive memory is gone since the key was on.
    lost: bool,
    question: u8,
}

impl Module {
    /// What the tests found.
    pub(crate) const fn found(&self) -> SelfTest {
        self.found
    }

    /// The keep-alive memory had no supply; says whether that is news.
    pub(crate) const fn lose(&mut self) -> bool {
        !core::mem::replace(&mut self.lost, true)
    }

    /// The key comes on; whether the sums over program and calibration are right.
    pub(crate) fn key_on(&mut self, condition: ModuleCondition, [program, calibration]: [bool; 2]) {
        self.found.program = !program;
        self.found.calibration = !calibration;
        self.found.ram = !holds_patterns(condition.ram_cell);
        // The mark is set again; until a driving cycle has told of it, the loss is not forgotten.
        self.found.keep_alive |= core::mem::take(&mut self.lost);
    }

    /// A driving cycle has told of what was lost, or service $04 has cleared it.
    pub(crate) const fn told(&mut self) {
        self.found.keep_alive = false;
    }

    /// Every 100 ms with the key on: the next question.
    pub(crate) const fn ask(&mut self, condition: ModuleCondition) {
        self.question = self.question.wrapping_add(1);
        let answer = answered(self.question, condition.processor);
        self.found.processor = answer != expected(self.question);
    }
}

/// Writes a pattern and its opposite into every cell and reads them back.
fn holds_patterns(worn: bool) -> bool {
    let mut cells = [0_u8; CELLS];
    [0x55, 0xAA, 0x00].into_iter().all(|pattern: u8| {
        cells.fill(pattern);
        if worn {
            cells[WORN.0] |= WORN.1;
        }
        cells.iter().all(|&cell| cell == pattern)
    })
}

/// What the processor makes of a question: a sum with carry, a product and a turn of bits. In one that fails the carry
/// into the upper half is lost.
const fn answered(question: u8, fails: bool) -> u8 {
    let doubled = if fails {
        (question & 0xF0).wrapping_mul(3) | (question & 0x0F).wrapping_mul(3) & 0x0F
    } else {
        question.wrapping_mul(3)
    };
    doubled.wrapping_add(0x2D).rotate_left(3)
}

/// What the watch beside the processor holds as the right answer.
const fn expected(question: u8) -> u8 {
    let mut times = 0;
    let mut sum = 0x2D_u8;
    while times < 3 {
        sum = sum.wrapping_add(question);
        times += 1;
    }
    sum.rotate_left(3)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Calibration, memory::Profile, monitors::CATALOGUE, server::Identity};

    fn identity() -> Identity {
        Identity::engine(&Profile::US_2010, &CATALOGUE, &Calibration::compact_2_0())
    }

    fn key_on(module: &mut Module, identity: &mut Identity, condition: ModuleCondition) {
        let turned = [condition.program_bit, condition.calibration_bit];
        let compact = Calibration::compact_2_0();
        let sums = identity.sum_up(&Profile::US_2010, &CATALOGUE, &compact, turned);
        module.key_on(condition, sums);
    }

    fn after_key_on(condition: ModuleCondition) -> (SelfTest, u32) {
        let (mut module, mut identity) = (Module::default(), identity());
        key_on(&mut module, &mut identity, condition);
        (module.found(), identity.verification_number())
    }

    #[test]
    fn each_test_finds_its_own_fault() {
        let good = ModuleCondition::default();
        let sound = SelfTest::default();
        let (found, number) = after_key_on(good);
        assert_eq!((found, number), (sound, identity().verification_number()));
        let (found, changed) = after_key_on(ModuleCondition {
            calibration_bit: true,
            ..good
        });
        assert_eq!(
            found,
            SelfTest {
                calibration: true,
                ..sound
            }
        );
        assert_ne!(changed, number, "a tester sees another verification number");
        let (found, changed) = after_key_on(ModuleCondition {
            program_bit: true,
            ..good
        });
        assert_eq!(
            found,
            SelfTest {
                program: true,
                ..sound
            }
        );
        assert_ne!(changed, number);
        let (found, same) = after_key_on(ModuleCondition {
            ram_cell: true,
            ..good
        });
        assert_eq!(found, SelfTest { ram: true, ..sound });
        assert_eq!(same, number);
    }

    /// Written anew, the sums are right again.
    #[test]
    fn the_verification_number_comes_back_with_the_memory() {
        let (mut module, mut identity) = (Module::default(), identity());
        let number = identity.verification_number();
        let torn = ModuleCondition {
            program_bit: true,
            ..ModuleCondition::default()
        };
        key_on(&mut module, &mut identity, torn);
        key_on(&mut module, &mut identity, ModuleCondition::default());
        assert_eq!(module.found(), SelfTest::default());
        assert_eq!(identity.verification_number(), number);
    }

    #[test]
    fn a_sound_processor_answers_all_questions_and_a_failing_one_most_wrongly() {
        let count = |fails: bool| {
            let wrong = (0..=u8::MAX).filter(|&question| answered(question, fails) != expected(question));
            wrong.count()
        };
        assert_eq!(count(false), 0);
        assert!(count(true) > 128, "{}", count(true));
    }

    #[test]
    fn a_loss_is_told_once_and_not_before_a_driving_cycle() {
        let mut module = Module::default();
        let key_on = |module: &mut Module| {
            module.key_on(ModuleCondition::default(), [true; 2]);
            module.found().keep_alive
        };
        assert!(!key_on(&mut module), "as the factory left it");
        assert!(module.lose());
        assert!(!module.lose(), "what is gone is gone");
        assert!(key_on(&mut module));
        assert!(key_on(&mut module), "no engine start came between");
        module.told();
        assert!(!key_on(&mut module));
        assert!(module.lose(), "the mark had been set again");
    }
}
