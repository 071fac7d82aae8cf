//! Driver layer for multi-channel shunt monitors on I2C and SMBus.
#![no_std]
