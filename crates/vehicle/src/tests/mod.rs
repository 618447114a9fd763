//! The whole car with a controller made for the tests.

mod drive;
mod explore;
mod speed;
mod support;
