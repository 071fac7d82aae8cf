#![no_std]
//! x
