/* The checks on the host: every object in memory of exactly its size, so that a tool for memory errors sees a step beyond it. */
#include <stdio.h>
#include <stdlib.h>

#include "checks.h"

static void *zeroed(size_t size) {
    /* Aligned for every standard type, 16 bytes here: enough for a ledger. */
    void *memory = calloc(1, size);
    if (memory == NULL) {
        exit(2);
    }
    return memory;
}

static void say(const char *text) { fputs(text, stdout); }

int main(void) {
    struct objects objects = {
        zeroed(sizeof(crake_board)),   zeroed(sizeof(crake_board)),   zeroed(sizeof(crake_monitor)),
        zeroed(sizeof(crake_monitor)), zeroed(sizeof(crake_ledger)),  zeroed(sizeof(crake_ledger)),
        zeroed(sizeof(crake_ledger)),  zeroed(sizeof(crake_watches)), zeroed(sizeof(crake_watches)),
        zeroed(sizeof(crake_station)),
    };
    unsigned failed = checks(&objects, say);
    void *all[] = {
        objects.board,        objects.other_board, objects.monitor,       objects.in_pieces, objects.ledger,
        objects.other_ledger, objects.loaded,      objects.watches,       objects.other_watches, objects.station,
    };
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        free(all[i]);
    }
    return failed != 0;
}
