#include "part.h"

/* Written by .ci/c-callers from section 10.1 of the datasheet: what follows the read address, check byte included. */
#include "frame_10_1.h"

enum {
    ADDRESS = 0x32,
    STATE = 0x02,
    LATCH = 0x03,
    RUN = 0x04,
    CHANNELS = 0x05,
    RANGES = 0x06,
    AVERAGING = 0x07,
    RESTART = 0x09,
    BOOT = 0x0A,
    HOLD = 0x34,
    MASK_A = 0x35,
    MASK_B = 0x36,
    CAUSES = 0x37,
    STORE_COUNT = 0x78,
    STORE_INDEX = 0x79,
    STORE = 0x7A,
    FRAME = 0x80,
    BLOCK = 111,
    PACED_500 = 0x11,
    BURST = 0x30,
    BURST_CODES = 1024,
    BURST_US = 64000,
    PERIOD_US = 2000,
    ALERT_RESPONSE = 0x0C,
    RAILS = 4
};

static struct {
    uint64_t registers[0x80];
    uint8_t block[BLOCK];
    uint8_t tag;
    /* What RUN took over. */
    uint8_t mode, set_up;
    uint16_t ranges;
    uint32_t rounds;
    uint32_t rounds_since_run;
    int64_t charge[RAILS], energy[RAILS];
    uint64_t now_us, counted_us, dead_until_us, burst_until_us;
    uint32_t fail, spoil, transfers, longest_read;
    int32_t status;
    int compares;
    /* It answered an alert response, and no cause was set since. */
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

/* CRC-16 of the block, section 5. */
static uint16_t crc16(const uint8_t *bytes, size_t count) {
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

/* Bytes of a register; 0 where there is none. Section 3. */
static size_t width(uint8_t pointer) {
    static const uint8_t head[] = {4, 2, 1, 2, 3, 1, 2, 1, 1, 1, 1};
    static const uint8_t limits[] = {2, 2, 3, 3, 5};
    if (pointer < sizeof head) {
        return head[pointer];
    }
    if (pointer >= 0x10 && pointer < 0x30 && pointer % 8 < 5) {
        return limits[pointer % 8];
    }
    if (pointer == STORE_COUNT || pointer == STORE_INDEX) {
        return 2;
    }
    return pointer >= 0x30 && pointer <= 0x38 ? 3 : pointer == STORE ? 48 : 0;
}

static int counts_in_serial(uint8_t pointer) {
    return pointer != LATCH && pointer != RESTART && pointer != BOOT && pointer != CAUSES &&
           pointer != STORE_INDEX;
}

static void reset(void) {
    for (unsigned i = 0; i < sizeof part.registers / sizeof part.registers[0]; i++) {
        part.registers[i] = 0;
    }
    for (unsigned c = 0; c < RAILS; c++) {
        part.charge[c] = part.energy[c] = 0;
        part.registers[0x12 + 8 * c] = 0x01FFFF;
    }
    part.registers[0x00] = 0x9E37C401;
    part.registers[CHANNELS] = 0x0F;
    part.registers[RANGES] = part.ranges = 0x2222;
    part.registers[BOOT] = 1;
    part.registers[HOLD] = 0x700000;
    part.registers[CAUSES] = 0x400000;
    part.mode = part.tag = 0;
    part.set_up = 0x0F;
    part.rounds = part.rounds_since_run = 0;
    part.dead_until_us = part.now_us + 1000;
}

/* The rounds that were completed since this was called last. Each adds the codes of section 10.1; channel 2 is over range. */
static void count(void) {
    if ((part.mode & 0xF0) == BURST && part.now_us >= part.burst_until_us) {
        part.mode = 0;
        part.registers[STORE_COUNT] = BURST_CODES;
    }
    if (part.mode != PACED_500) {
        part.counted_us = part.now_us;
        return;
    }
    uint32_t rounds = (uint32_t)((part.now_us - part.counted_us) / PERIOD_US);
    part.counted_us += (uint64_t)rounds * PERIOD_US;
    part.rounds = (part.rounds + rounds) & 0x0FFFFFFF;
    part.rounds_since_run += rounds;
    for (unsigned c = 0; c < RAILS; c++) {
        const uint8_t *codes = frame_10_1 + 13 + 24 * c;
        uint64_t sense = (uint64_t)extended(get(codes, 3), 24);
        uint64_t power = (uint64_t)extended(get(codes + 5, 5), 40);
        part.charge[c] = extended((uint64_t)part.charge[c] + rounds * sense, 44);
        part.energy[c] = extended((uint64_t)part.energy[c] + rounds * power, 60);
        if (part.compares && rounds > 0 && (int64_t)sense > extended(part.registers[0x12 + 8 * c], 24)) {
            part.registers[CAUSES] |= (uint64_t)1 << (5 * c + 2);
            part.let_go = 0;
        }
    }
}

/* The code of a conversion in the store: 0, 1, 2 and 3 A over 10 mOhm, again and again. */
static int32_t stored(size_t place) { return (int32_t)(place % 4) * 20000; }

/* The registers that are more than a value kept. */
static void refresh(uint8_t pointer) {
    count();
    if (pointer == STATE) {
        part.registers[STATE] = part.mode >> 4;
    }
}

static void copy_block(uint8_t tag) {
    uint8_t *block = part.block;
    uint16_t flags = part.registers[BOOT] ? 0x8000 : 0;
    part.tag = tag;
    if (part.rounds_since_run >= (uint32_t)1 << (part.set_up >> 4)) {
        flags |= 0x4000 | 0x0010;
    }
    put(block, 1, tag);
    put(block + 1, 2, part.registers[0x01]);
    put(block + 3, 1, part.mode);
    put(block + 4, 1, part.set_up);
    put(block + 5, 2, part.ranges);
    put(block + 7, 2, flags);
    put(block + 9, 4, part.rounds);
    for (unsigned c = 0; c < RAILS; c++) {
        uint8_t *results = block + 13 + 24 * c;
        for (unsigned i = 0; i < 10; i++) {
            results[i] = flags & 0x4000 ? frame_10_1[13 + 24 * c + i] : 0;
        }
        put(results + 10, 6, (uint64_t)part.charge[c]);
        put(results + 16, 8, (uint64_t)part.energy[c]);
    }
    put(block + 109, 2, crc16(block, 109));
}

static void accept(uint8_t pointer, uint64_t value) {
    count();
    if (counts_in_serial(pointer)) {
        part.registers[0x01] = (part.registers[0x01] + 1) & 0xFFFF;
    }
    switch (pointer) {
    case RESTART:
        reset();
        break;
    case BOOT:
        part.registers[BOOT] = 0;
        break;
    case CAUSES:
        part.registers[CAUSES] &= ~value;
        break;
    case LATCH:
        if ((uint8_t)(value >> 8) != part.tag) {
            copy_block((uint8_t)(value >> 8));
        }
        break;
    case RUN:
        if ((uint8_t)(value >> 8) != part.tag) {
            copy_block((uint8_t)(value >> 8));
            part.mode = (uint8_t)(value >> 16);
            part.set_up = (uint8_t)(part.registers[CHANNELS] | part.registers[AVERAGING] << 4);
            part.ranges = (uint16_t)part.registers[RANGES];
            part.rounds_since_run = 0;
            part.burst_until_us = part.now_us + BURST_US;
        }
        part.registers[RUN] = value;
        break;
    default:
        part.registers[pointer] = value;
    }
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

static int32_t on_write(void *context, uint8_t address, const uint8_t *bytes, size_t count) {
    int32_t status = begin(address, count);
    uint8_t head = ADDRESS << 1;
    (void)context;
    if (status != 0) {
        return status;
    }
    if (count < 3 || bytes[0] >= 0x80 || width(bytes[0]) + 2 != count ||
        crc8(crc8(0, &head, 1), bytes, count) != 0) {
        return PART_REFUSED;
    }
    accept(bytes[0], get(bytes + 1, count - 2));
    return 0;
}

static int32_t on_write_read(void *context, uint8_t address, const uint8_t *bytes, size_t count,
                             uint8_t *room, size_t room_count) {
    int32_t status = begin(address, count + room_count + 1);
    uint8_t data[BLOCK];
    size_t length = 0;
    (void)context;
    if (status != 0) {
        return status;
    }
    if (count != 1) {
        return PART_REFUSED;
    }
    if (room_count > part.longest_read) {
        part.longest_read = (uint32_t)room_count;
    }
    if (bytes[0] >= FRAME && bytes[0] < FRAME + BLOCK) {
        length = (size_t)(FRAME + BLOCK - bytes[0]);
        for (size_t i = 0; i < length; i++) {
            data[i] = part.block[BLOCK - length + i];
        }
    } else if (bytes[0] == STORE) {
        length = width(STORE);
        for (size_t i = 0; i < length / 3; i++) {
            put(data + 3 * i, 3, (uint64_t)stored((size_t)part.registers[STORE_INDEX] + i));
        }
    } else if (bytes[0] < 0x80) {
        refresh(bytes[0]);
        length = width(bytes[0]);
        put(data, length, part.registers[bytes[0]]);
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

/* The alert response, section 2.5. */
static int32_t on_read(void *context, uint8_t address, uint8_t *room, size_t room_count) {
    (void)context;
    part.transfers++;
    if (part.fail > 0) {
        part.fail--;
        return part.status;
    }
    if (address != ALERT_RESPONSE || !(part_is_low(1) || part_is_low(2))) {
        return CRAKE_NO_ACKNOWLEDGE;
    }
    part.let_go = 1;
    const uint8_t answer[] = {ALERT_RESPONSE << 1 | 1, ADDRESS << 1};
    const uint8_t sent[] = {answer[1], crc8(0, answer, sizeof answer)};
    for (size_t i = 0; i < room_count; i++) {
        room[i] = i < sizeof sent ? sent[i] : 0xFF;
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

crake_host part_host(void) {
    crake_host host = {NULL, on_write, on_write_read, on_read, on_delay, on_now};
    return host;
}

void part_as_in_10_1(void) {
    reset();
    part.dead_until_us = 0;
    for (unsigned i = 0; i < BLOCK; i++) {
        part.block[i] = frame_10_1[i];
    }
    part.tag = part.block[0];
    part.registers[0x01] = get(part.block + 1, 2);
    part.registers[BOOT] = part.registers[CAUSES] = 0;
    part.mode = part.block[3];
    part.set_up = part.block[4];
    part.ranges = (uint16_t)get(part.block + 5, 2);
    part.rounds = (uint32_t)get(part.block + 9, 4);
    part.rounds_since_run = 1000;
    part.counted_us = part.now_us;
    for (unsigned c = 0; c < RAILS; c++) {
        part.charge[c] = extended(get(part.block + 23 + 24 * c, 6), 48);
        part.energy[c] = (int64_t)get(part.block + 29 + 24 * c, 8);
    }
}

void part_run(uint32_t us) { part.now_us += us; }
void part_reset(void) {
    reset();
    copy_block(0);
}
void part_raise(uint32_t causes) {
    part.registers[CAUSES] |= causes;
    part.let_go = 0;
}
void part_compare(int compares) { part.compares = compares; }
int part_is_low(uint8_t output) {
    count();
    return !part.let_go && (part.registers[CAUSES] & part.registers[output == 1 ? MASK_A : MASK_B]) != 0;
}
uint32_t part_causes(void) { return (uint32_t)part.registers[CAUSES]; }
uint64_t part_register(uint8_t pointer) { return part.registers[pointer & 0x7F]; }
void part_fail(uint32_t transfers, int32_t status) {
    part.fail = transfers;
    part.status = status;
}
void part_spoil(uint32_t reads) { part.spoil = reads; }
uint32_t part_transfers(void) { return part.transfers; }
uint32_t part_longest_read(void) { return part.longest_read; }
void part_interrupt(void (*interrupt)(void)) { part.interrupt = interrupt; }
