//! 50 µV across the sense resistor, measured within 1 % in the fine range after an offset calibration
//! (datasheet, section 7).
//!
//! That such a part should resolve 50 µV to 1 % is common practice, no source.
