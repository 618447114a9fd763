//! What the test binaries of this package share.
