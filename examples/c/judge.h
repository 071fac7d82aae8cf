/* How a check is made and told, and what several of them share. */
#ifndef JUDGE_H
#define JUDGE_H

#include "checks.h"

/* What the checks work on. */
extern const struct objects *the;

/* Tells text, or a number. */
extern void (*say)(const char *text);
void say_number(int64_t number);
/* Tells of a check, and counts it if it failed. */
void judge(int good, const char *what, int64_t value);
/* How many failed. */
unsigned failed(void);

/* The configuration of section 10.1: 500 scans a second, means of 16, ranges 0x6041. */
crake_config config_10_1(void);
/* The readings must be those of section 10.1. */
void readings(const crake_sample *sample);

/* Groups of checks that have a file of their own. */
void alerts(void);
void in_pieces(void);
void worked_limits(void);
void proof(void);
void captures(void);
void calibration(void);

/* The value must be exactly that. */
#define IS(value, expected)                                                                        \
    do {                                                                                           \
        int64_t value_ = (int64_t)(value), expected_ = (int64_t)(expected);                        \
        judge(value_ == expected_, #value, value_);                                                \
        if (value_ != expected_) {                                                                 \
            say("        expected ");                                                              \
            say_number(expected_);                                                                 \
            say("\n");                                                                             \
        }                                                                                          \
    } while (0)

/* The value must lie between these. */
#define WITHIN(value, least, greatest)                                                             \
    do {                                                                                           \
        int64_t value_ = (int64_t)(value);                                                         \
        judge(value_ >= (int64_t)(least) && value_ <= (int64_t)(greatest), #value, value_);        \
    } while (0)

#endif
