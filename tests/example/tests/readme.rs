//! The lines of the project's README, compiled and run.

#[test]
fn the_loop_of_the_readme() -> Result<(), twotrip::Error> {
    use twotrip::{Car, Disturbance, DisturbanceKind, Verdict};

    let mut car = Car::shipped("loose-fuel-cap")?;
    assert_eq!(car.ask(&[0x03])?.first(), Some(&[0x43, 0x01, 0x04, 0x55][..])); // read
    car.tell("tighten fuel-cap")?; // repair
    car.ask(&[0x04])?; // clear
    for phrase in ["soak 9 h", "drive udds", "drive hwfet"] {
        car.tell(phrase)?; // drive
    }
    assert!(car.confirmed().is_empty() && !car.mil_commanded()); // verify

    let mut car = Car::shipped("loose-fuel-cap")?; // a tool that survives a busy ECU, and keeps the rules of the bus
    car.watch();
    car.disturb(Disturbance::of(DisturbanceKind::Busy).times(1))?;
    car.ask(&[0x03])?; // your tool in its place; `ask` is told 7F 03 21, and asks again
    assert_eq!(car.judged()[0].verdict, Verdict::Held);
    assert!(car.conduct()?.is_clean(), "{}", car.conduct()?);
    Ok(())
}

#[test]
fn the_readme_has_these_lines() {
    let readme = include_str!("../../../README.md");
    let (_, behind) = readme.split_once("```rust\n").expect("a block of Rust");
    let (block, _) = behind.split_once("```").expect("its end");
    let mut here = include_str!("readme.rs").lines().map(str::trim);
    for line in block.lines().map(str::trim).filter(|line| !line.is_empty()) {
        assert!(here.any(|own| own == line), "only in README.md: {line}");
    }
}
