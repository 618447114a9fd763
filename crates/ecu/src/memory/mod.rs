//! The regulated life of a code.
