//! The whole car with a controller made for the tests.

mod abuse;
mod breathing;
mod drive;
mod halved;
mod physics;
mod published;
mod resting;
mod speed;
mod steady;
mod support;
