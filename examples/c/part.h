/* Stands in for Corncrake, its bus, and the host's clock: enough of docs/corncrake-datasheet.md to
 * serve samples, flags, captures and faults to the checks. */
#ifndef PART_H
#define PART_H

#include <stdint.h>

#include "crake.h"

/* Written by .ci/c-callers from section 10 of the datasheet: `block_10_1`, what follows the read
 * address, check byte included; and `example_N`, all bytes of transfer N, addresses included. */
#include "datasheet.h"

/* Statuses that the bus callbacks return. */
#define PART_NO_ANSWER (-6)
#define PART_REFUSED (-7)

/* Bus, delay and clock of the part, as a monitor takes them. */
crake_host part_host(void);

/* Lets the part be as the sample block of section 10.1 tells, running; the clock goes on. */
void part_as_in_10_1(void);
/* Lets time pass. */
void part_run(uint32_t us);
/* Resets the part. */
void part_reset(void);
/* Lets a channel convert these codes from now on. */
void part_convert(uint8_t channel, int32_t sense, uint16_t rail);
/* Whether output A (1) or B (2) is pulled low. */
int part_is_low(uint8_t output);
/* A register's value. */
uint64_t part_register(uint8_t pointer);
/* Whether the last write to its register came as these bytes of a worked example. */
int part_was_written(const uint8_t *example, size_t count);
/* Makes the next transfers fail with this status. */
void part_fail(uint32_t transfers, int32_t status);
/* Spoils the check bytes of the next reads. */
void part_spoil(uint32_t reads);
/* Transfers so far, and the longest read of one in bytes. */
uint32_t part_transfers(void);
uint32_t part_longest_read(void);
/* Calls this once from within the next delay; NULL for nothing. */
void part_interrupt(void (*interrupt)(void));
/* CRC-16 of section 5, which calibration records have, too. */
uint16_t part_crc16(const uint8_t *bytes, size_t count);

#endif
