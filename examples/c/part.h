/* Stands in for Corncrake, its bus, and the host's clock: enough of docs/old/corncrake-datasheet.md to serve frames, causes and faults to the checks. */
#ifndef PART_H
#define PART_H

#include <stdint.h>

#include "crake.h"

/* Statuses that the bus callbacks return. */
#define PART_NO_ANSWER (-6)
#define PART_REFUSED (-7)

/* Bus, delay and clock of the part, as a monitor takes them. */
crake_host part_host(void);

/* Lets the part be as the frame block of section 10.1 tells, running; the clock goes on. */
void part_as_in_10_1(void);
/* Lets time pass. */
void part_run(uint32_t us);
/* Resets the part. */
void part_reset(void);
/* Sets causes, by their bits in section 3.6. */
void part_raise(uint32_t causes);
/* Causes that stand. */
uint32_t part_causes(void);
/* Lets every round compare the codes with the over-current limits, whatever the debounce; 0 for no more. */
void part_compare(int compares);
/* Whether output A (1) or B (2) is pulled low. */
int part_is_low(uint8_t output);
/* A register's value. */
uint64_t part_register(uint8_t pointer);
/* Makes the next transfers fail with this status. */
void part_fail(uint32_t transfers, int32_t status);
/* Spoils the check bytes of the next reads. */
void part_spoil(uint32_t reads);
/* Transfers so far. */
uint32_t part_transfers(void);
/* The longest read so far, in bytes. */
uint32_t part_longest_read(void);
/* Calls this once from within the next delay; NULL for nothing. */
void part_interrupt(void (*interrupt)(void));

#endif
