/* The same checks on the host and on the target. */
#ifndef CHECKS_H
#define CHECKS_H

#include "crake.h"

/* Zeroed memory for everything that the checks make. */
struct objects {
    crake_board *board, *other_board;
    crake_monitor *monitor, *in_pieces;
    crake_ledger *ledger, *other_ledger, *loaded;
    crake_watches *watches, *other_watches;
    crake_station *station;
};

/* Runs all checks, tells of each by `say`, and gives the number of those that failed. */
unsigned checks(const struct objects *objects, void (*say)(const char *text));

#endif
