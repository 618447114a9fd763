//! What is done to the car by hand: defects, work on parts, looking and measuring.
