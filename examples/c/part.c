#include "part.h"

enum {
    ADDRESS = 0x32,
    WRITES = 0x01,
    LATCH = 0x03,
    RUN = 0x04,
    CHANNELS = 0x05,
    RANGES = 0x06,
    AVERAGING = 0x07,
    RESTART = 0x09,
    RESET_SEEN = 0x0A,
    LIMITS = 0x10,
    DEBOUNCE = 0x30,
    LATCHING = 0x34,
    MASK_A = 0x35,
    MASK_B = 0x36,
    FLAGS = 0x37,
    CAPTURE_COUNT = 0x78,
    CAPTURE_FROM = 0x79,
    CAPTURE = 0x7A,
    SAMPLE = 0x80,
    BLOCK = 111,
    SINGLE_SHOT = 0x20,
    FAST_CAPTURE = 0x30,
    CODES = 1024,
    WAKE_US = 150,
    CAPTURE_US = 64000,
    ALERT_RESPONSE = 0x0C,
    RAILS = 4
};

/* Bits of FLAGS, section 3.6. */
static const uint64_t SCAN_DONE = 1 << 21, RESET_FLAG = 1 << 22;

static struct {
    uint64_t registers[0x80];
    /* The bytes of the last write to each, with the address. */
    uint8_t written[0x80][9];
    uint8_t block[BLOCK];
    uint8_t tag;
    int32_t sense[RAILS];
    uint16_t rail[RAILS];
    int64_t charge[RAILS], energy[RAILS];
    uint32_t scans, scans_since_start;
    uint64_t now_us, counted_us, dead_until_us, capture_until_us;
    uint32_t fail, spoil, transfers, longest_read;
    int32_t status;
    /* It answered an alert response, and no flag was set since. */
    int let_go;
    void (*interrupt)(void);
} part;

/* SMBus packet error code, section 2.3. */
static uint8_t crc8(uint8_t crc, const uint8_t *bytes, size_t count) {
    for (size_t i = 0; i < count; i++) {
        crc ^= bytes[i];
        for (int bit = 0; bit < 8; bit++) {
            crc = (uint8_t)(crc & 0x80 ? crc << 1 ^ 0x07 : crc << 1);
        }
    }
    return crc;
}

uint16_t part_crc16(const uint8_t *bytes, size_t count) {
    uint16_t crc = 0xFFFF;
    for (size_t i = 0; i < count; i++) {
        crc ^= (uint16_t)(bytes[i] << 8);
        for (int bit = 0; bit < 8; bit++) {
            crc = (uint16_t)(crc & 0x8000 ? crc << 1 ^ 0x1021 : crc << 1);
        }
    }
    return crc ^ 0xFFFF;
}

static void put(uint8_t *bytes, size_t count, uint64_t value) {
    while (count-- > 0) {
        bytes[count] = (uint8_t)value;
        value >>= 8;
    }
}

static uint64_t get(const uint8_t *bytes, size_t count) {
    uint64_t value = 0;
    for (size_t i = 0; i < count; i++) {
        value = value << 8 | bytes[i];
    }
    return value;
}

/* A two's complement number of so many bits. */
static int64_t extended(uint64_t value, unsigned bits) {
    uint64_t sign = (uint64_t)1 << (bits - 1);
    value &= sign * 2 - 1;
    return (int64_t)(value ^ sign) - (int64_t)sign;
}

static const uint8_t limit_widths[] = {2, 2, 3, 3, 5};

/* Bytes of a register; 0 where there is none. Section 3. */
static size_t width(uint8_t pointer) {
    static const uint8_t head[] = {4, 2, 1, 2, 1, 1, 2, 1, 1, 1, 1};
    if (pointer < sizeof head) {
        return head[pointer];
    }
    if (pointer >= LIMITS && pointer < DEBOUNCE && pointer % 8 < 5) {
        return limit_widths[pointer % 8];
    }
    switch (pointer) {
    case CAPTURE_COUNT:
        return 2;
    case CAPTURE_FROM:
        return 3;
    case CAPTURE:
        return 3 * (part.registers[CAPTURE_FROM] & 0xFF);
    default:
        return pointer >= DEBOUNCE && pointer <= FLAGS ? 3 : 0;
    }
}

/* Limits that no code is beyond. */
static void reset_limits(unsigned channel) {
    static const uint64_t limits[] = {0xFFFF, 0x0000, 0x01FFFF, 0xFE0000, 0x01FFFFFFFF};
    for (unsigned kind = 0; kind < 5; kind++) {
        part.registers[LIMITS + 8 * channel + kind] = limits[kind];
    }
}

static void reset(void) {
    for (unsigned i = 0; i < sizeof part.registers / sizeof part.registers[0]; i++) {
        part.registers[i] = 0;
    }
    for (unsigned c = 0; c < RAILS; c++) {
        part.charge[c] = part.energy[c] = 0;
        part.registers[DEBOUNCE + c] = 0x011111;
        reset_limits(c);
    }
    part.registers[0x00] = 0x9E37C402;
    part.registers[CHANNELS] = 0x0F;
    part.registers[RANGES] = 0x2222;
    part.registers[RESET_SEEN] = 1;
    part.registers[LATCHING] = 0x700000;
    part.registers[FLAGS] = RESET_FLAG;
    part.registers[CAPTURE_FROM] = 0x000010;
    part.tag = 0;
    part.scans = part.scans_since_start = 0;
    part.dead_until_us = part.now_us + 1000;
}

/* Whether the codes of a channel lie beyond its limit of a kind. */
static int is_beyond(unsigned channel, unsigned kind) {
    uint64_t limit = part.registers[LIMITS + 8 * channel + kind];
    int64_t sense = part.sense[channel], rail = part.rail[channel];
    switch (kind) {
    case 0:
        return rail > (int64_t)limit;
    case 1:
        return rail < (int64_t)limit;
    case 2:
        return sense > extended(limit, 24);
    case 3:
        return sense < extended(limit, 24);
    default:
        return sense * rail > extended(limit, 40);
    }
}

/* The scans that were completed since this was called last. A debounce counts as one. */
static void count(void) {
    static const uint32_t periods_us[] = {500, 2000, 10000, 100000, 1000000};
    uint64_t mode = part.registers[RUN];
    if (mode >= FAST_CAPTURE && part.now_us >= part.capture_until_us) {
        mode = part.registers[RUN] = 0;
        part.registers[CAPTURE_COUNT] = CODES;
    }
    if (mode >> 4 != 1 || part.now_us < part.counted_us) {
        return;
    }
    uint32_t period_us = periods_us[mode & 0x0F];
    uint64_t scans = (part.now_us - part.counted_us) / period_us;
    part.counted_us += scans * period_us;
    if (scans == 0) {
        return;
    }
    part.scans = (uint32_t)(part.scans + scans) & 0x0FFFFFFF;
    part.scans_since_start += (uint32_t)scans;
    uint64_t flags = part.registers[FLAGS] | SCAN_DONE;
    for (unsigned c = 0; c < RAILS; c++) {
        uint64_t sense = (uint64_t)(int64_t)part.sense[c];
        part.charge[c] = extended((uint64_t)part.charge[c] + scans * sense, 44);
        part.energy[c] = extended((uint64_t)part.energy[c] + scans * sense * part.rail[c], 60);
        for (unsigned kind = 0; kind < 5; kind++) {
            uint64_t flag = (uint64_t)1 << (5 * c + kind);
            if (is_beyond(c, kind)) {
                flags |= flag;
                part.let_go = 0;
            } else if ((part.registers[LATCHING] & flag) == 0) {
                flags &= ~flag;
            }
        }
    }
    part.registers[FLAGS] = flags;
}

static void copy_block(uint8_t tag) {
    uint8_t *block = part.block;
    int complete = part.scans_since_start >= (uint32_t)1 << part.registers[AVERAGING];
    uint64_t flags = part.registers[RESET_SEEN] << 15 | (uint64_t)complete << 14;
    part.tag = tag;
    for (unsigned c = 0; c < RAILS; c++) {
        uint8_t *results = block + 13 + 24 * c;
        put(results, 3, complete ? (uint64_t)(int64_t)part.sense[c] : 0);
        put(results + 3, 2, complete ? part.rail[c] : 0);
        put(results + 5, 5, complete ? (uint64_t)((int64_t)part.sense[c] * part.rail[c]) : 0);
        put(results + 10, 6, (uint64_t)part.charge[c]);
        put(results + 16, 8, (uint64_t)part.energy[c]);
        /* As in 10.1: channel 2 is over range, channel 3 just not. */
        flags |= (uint64_t)(complete && part.sense[c] == 131071) << (2 * c);
    }
    put(block, 1, tag);
    put(block + 1, 2, part.registers[WRITES]);
    put(block + 3, 1, part.registers[RUN]);
    put(block + 4, 1, part.registers[CHANNELS] | part.registers[AVERAGING] << 4);
    put(block + 5, 2, part.registers[RANGES]);
    put(block + 7, 2, flags);
    put(block + 9, 4, part.scans);
    put(block + 109, 2, part_crc16(block, 109));
}

/* Section 3.3. Gives whether it counts. */
static int run(uint64_t mode) {
    if (mode == part.registers[RUN]) {
        return 0;
    }
    part.registers[RUN] = mode;
    if (mode == 0) {
        return 1;
    }
    part.scans_since_start = 0;
    part.counted_us = part.now_us + WAKE_US;
    if (mode == SINGLE_SHOT) {
        part.registers[RUN] = 0;
        part.scans_since_start = 1 << 10;
        return 0;
    }
    if (mode >= FAST_CAPTURE) {
        part.registers[CAPTURE_COUNT] = 0;
        part.capture_until_us = part.now_us + WAKE_US + CAPTURE_US;
    }
    return 1;
}

/* Whether the write is allowed; if it is, it is done. */
static int accept(uint8_t pointer, uint64_t value) {
    int idle, counts = 1;
    count();
    idle = part.registers[RUN] == 0;
    switch (pointer) {
    case RUN:
        if (!idle && value != 0 && value != part.registers[RUN]) {
            return 0;
        }
        counts = run(value);
        break;
    case CHANNELS:
    case RANGES:
    case AVERAGING:
        if (!idle) {
            return 0;
        }
        part.registers[pointer] = value;
        part.scans_since_start = 0;
        for (unsigned c = 0; pointer == RANGES && c < RAILS; c++) {
            part.registers[MASK_A] = part.registers[MASK_B] = 0;
            reset_limits(c);
        }
        break;
    case RESTART:
        reset();
        return 1;
    case RESET_SEEN:
        part.registers[RESET_SEEN] = 0;
        part.registers[FLAGS] &= ~RESET_FLAG;
        return 1;
    case FLAGS:
        part.registers[FLAGS] &= ~(value & ~RESET_FLAG);
        return 1;
    case LATCH:
        if ((uint8_t)(value >> 8) != part.tag) {
            copy_block((uint8_t)(value >> 8));
        }
        return 1;
    case CAPTURE_FROM:
        part.registers[pointer] = value;
        return 1;
    default:
        part.registers[pointer] = value;
        if (pointer >= DEBOUNCE && pointer < DEBOUNCE + RAILS) {
            reset_limits(pointer - DEBOUNCE);
        }
    }
    part.registers[WRITES] = (part.registers[WRITES] + (uint64_t)counts) & 0xFFFF;
    return 1;
}

/* What every transfer begins with: time, injected failures, the address. */
static int32_t begin(uint8_t address, size_t count) {
    part.transfers++;
    part.now_us += 25 * (count + 1);
    if (part.fail > 0) {
        part.fail--;
        return part.status;
    }
    return address == ADDRESS && part.now_us >= part.dead_until_us ? 0 : PART_NO_ANSWER;
}

static int32_t on_write(uint8_t address, const uint8_t *bytes, size_t count) {
    int32_t status = begin(address, count);
    const uint8_t head = ADDRESS << 1;
    if (status != 0) {
        return status;
    }
    if (count < 3 || bytes[0] >= 0x80 || width(bytes[0]) + 2 != count ||
        crc8(crc8(0, &head, 1), bytes, count) != 0 ||
        !accept(bytes[0], get(bytes + 1, count - 2))) {
        return PART_REFUSED;
    }
    part.written[bytes[0]][0] = head;
    for (size_t i = 0; i < count && i + 1 < sizeof part.written[0]; i++) {
        part.written[bytes[0]][i + 1] = bytes[i];
    }
    return 0;
}

/* The code of a conversion that was captured: 0, 1, 2 and 3 A over 10 mOhm in range 0, again and
 * again, and the last three as example 32 reads them. */
static int32_t captured(uint64_t place) {
    if (place >= CODES - 3) {
        return (int32_t)extended(get(example_32 + 3 + 3 * (place - (CODES - 3)), 3), 24);
    }
    return (int32_t)(place % 4) * 20000;
}

static int32_t on_write_read(uint8_t address, const uint8_t *bytes, size_t count_out, uint8_t *room,
                             size_t room_count) {
    int32_t status = begin(address, count_out + room_count + 1);
    uint8_t data[BLOCK];
    size_t length = 0;
    if (status != 0) {
        return status;
    }
    if (count_out != 1) {
        return PART_REFUSED;
    }
    if (room_count > part.longest_read) {
        part.longest_read = (uint32_t)room_count;
    }
    count();
    if (bytes[0] >= SAMPLE && bytes[0] < SAMPLE + BLOCK) {
        length = (size_t)(SAMPLE + BLOCK - bytes[0]);
        for (size_t i = 0; i < length; i++) {
            data[i] = part.block[BLOCK - length + i];
        }
    } else if (bytes[0] < SAMPLE) {
        length = width(bytes[0]);
        put(data, length, part.registers[bytes[0]]);
        for (size_t i = 0; bytes[0] == CAPTURE && i < length / 3; i++) {
            put(data + 3 * i, 3, (uint64_t)captured((part.registers[CAPTURE_FROM] >> 8) + i));
        }
    }
    const uint8_t head[] = {ADDRESS << 1, bytes[0], ADDRESS << 1 | 1};
    uint8_t check = crc8(crc8(0, head, sizeof head), data, length);
    for (size_t i = 0; i < room_count; i++) {
        room[i] = i < length ? data[i] : i == length ? check : 0xFF;
    }
    if (part.spoil > 0 && room_count > length) {
        part.spoil--;
        room[length] ^= 1;
    }
    return 0;
}

/* The alert response, section 2.5: what follows the address in example 28. */
static int32_t on_read(uint8_t address, uint8_t *room, size_t room_count) {
    part.transfers++;
    if (part.fail > 0) {
        part.fail--;
        return part.status;
    }
    if (address != ALERT_RESPONSE || !(part_is_low(1) || part_is_low(2))) {
        return CRAKE_NO_ACKNOWLEDGE;
    }
    part.let_go = 1;
    for (size_t i = 0; i < room_count; i++) {
        room[i] = i + 1 < sizeof example_28 ? example_28[i + 1] : 0xFF;
    }
    if (part.spoil > 0) {
        part.spoil--;
        room[1] ^= 1;
    }
    return 0;
}

static void on_delay(void *context, uint32_t us) {
    void (*interrupt)(void) = part.interrupt;
    (void)context;
    part.now_us += us;
    part.interrupt = NULL;
    if (interrupt != NULL) {
        interrupt();
    }
}

static uint64_t on_now(void *context) {
    (void)context;
    return ++part.now_us;
}

static int32_t on_transfer(void *context, uint8_t address, const uint8_t *bytes, size_t count,
                           uint8_t *room, size_t room_count) {
    (void)context;
    return count == 0        ? on_read(address, room, room_count)
           : room_count == 0 ? on_write(address, bytes, count)
                             : on_write_read(address, bytes, count, room, room_count);
}

crake_host part_host(void) {
    crake_host host = {NULL, on_transfer, on_delay, on_now};
    return host;
}

void part_as_in_10_1(void) {
    const uint8_t *block = block_10_1;
    reset();
    part.dead_until_us = 0;
    for (unsigned i = 0; i < BLOCK; i++) {
        part.block[i] = block[i];
    }
    part.tag = block[0];
    part.registers[WRITES] = get(block + 1, 2);
    part.registers[RESET_SEEN] = part.registers[FLAGS] = 0;
    part.registers[RUN] = block[3];
    part.registers[CHANNELS] = block[4] & 0x0F;
    part.registers[AVERAGING] = block[4] >> 4;
    part.registers[RANGES] = get(block + 5, 2);
    part.scans = (uint32_t)get(block + 9, 4);
    part.scans_since_start = 1000;
    part.counted_us = part.now_us;
    for (unsigned c = 0; c < RAILS; c++) {
        part.sense[c] = (int32_t)extended(get(block + 13 + 24 * c, 3), 24);
        part.rail[c] = (uint16_t)get(block + 16 + 24 * c, 2);
        part.charge[c] = extended(get(block + 23 + 24 * c, 6), 48);
        part.energy[c] = (int64_t)get(block + 29 + 24 * c, 8);
    }
}

void part_run(uint32_t us) {
    part.now_us += us;
    count();
}
void part_reset(void) {
    reset();
    copy_block(0);
}
void part_convert(uint8_t channel, int32_t sense, uint16_t rail) {
    count();
    part.sense[channel & 3] = sense;
    part.rail[channel & 3] = rail;
}
int part_is_low(uint8_t output) {
    count();
    uint64_t mask = part.registers[output == 1 ? MASK_A : MASK_B];
    return !part.let_go && (part.registers[FLAGS] & mask) != 0;
}
uint64_t part_register(uint8_t pointer) { return part.registers[pointer & 0x7F]; }
int part_was_written(const uint8_t *example, size_t bytes) {
    const uint8_t *written = part.written[example[1] & 0x7F];
    int same = bytes == width(example[1]) + 3;
    for (size_t i = 0; i < bytes && i < sizeof part.written[0]; i++) {
        same &= written[i] == example[i];
    }
    return same;
}
void part_fail(uint32_t transfers, int32_t status) {
    part.fail = transfers;
    part.status = status;
}
void part_spoil(uint32_t reads) { part.spoil = reads; }
uint32_t part_transfers(void) { return part.transfers; }
uint32_t part_longest_read(void) { return part.longest_read; }
void part_interrupt(void (*interrupt)(void)) { part.interrupt = interrupt; }
