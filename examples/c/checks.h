/* The same checks on the host and on the target. */
#ifndef CHECKS_H
#define CHECKS_H

#include "crake.h"

typedef struct {
    crake_limit_memory of[8];
} limit_memory;

/* Everything that the checks make, in zeroed memory: type and name. */
#define OBJECTS(OBJECT)                                                                            \
    OBJECT(crake_board, board)                                                                     \
    OBJECT(crake_board, other_board)                                                               \
    OBJECT(crake_board, corrected)                                                                 \
    OBJECT(crake_board, restored)                                                                  \
    OBJECT(crake_margins, margins)                                                                 \
    OBJECT(crake_margins, other_margins)                                                           \
    OBJECT(crake_margins, corrected_margins)                                                       \
    OBJECT(crake_monitor, monitor)                                                                 \
    OBJECT(crake_monitor, in_pieces)                                                               \
    OBJECT(crake_monitor, other_monitor)                                                           \
    OBJECT(crake_totals, totals)                                                                   \
    OBJECT(crake_totals, loaded)                                                                   \
    OBJECT(crake_totals, other_totals)                                                             \
    OBJECT(limit_memory, memory)                                                                   \
    OBJECT(limit_memory, other_memory)                                                             \
    OBJECT(limit_memory, refused_memory)                                                           \
    OBJECT(crake_limits, limits)                                                                   \
    OBJECT(crake_limits, other_limits)                                                             \
    OBJECT(crake_limits, refused_limits)                                                           \
    OBJECT(limit_memory, wired_memory)                                                             \
    OBJECT(crake_limits, wired_limits)                                                             \
    OBJECT(limit_memory, negative_memory)                                                          \
    OBJECT(crake_limits, negative_limits)                                                          \
    OBJECT(crake_alert_queue, queue)                                                               \
    OBJECT(crake_alert_queue, other_queue)                                                         \
    OBJECT(crake_collection, no_load)                                                              \
    OBJECT(crake_collection, five_amps)

#define FIELD(type, name) type *name;
struct objects {
    OBJECTS(FIELD)
};
#undef FIELD

/* Runs all checks, tells of each by `say`, and gives the number of those that failed. */
unsigned checks(const struct objects *objects, void (*say)(const char *text));

#endif
