//! The whole car with a controller made for the tests.

mod abuse;
mod breathing;
mod drive;
mod energy;
mod halved;
mod physics;
mod published;
mod resting;
mod sane;
mod speed;
mod steady;
mod support;
