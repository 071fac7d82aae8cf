/* The checks on the host: every object in memory of exactly its size, so that a tool for memory
 * errors sees a step beyond it. */
#include <stdio.h>
#include <stdlib.h>

#include "checks.h"

static void *zeroed(size_t size) {
    void *memory = calloc(1, size);
    if (memory == NULL) {
        exit(2);
    }
    return memory;
}

static void say(const char *text) { fputs(text, stdout); }

int main(void) {
#define MAKE(type, name) zeroed(sizeof(type)),
    struct objects objects = {OBJECTS(MAKE)};
    unsigned failed = checks(&objects, say);
#define FREE(type, name) free(objects.name);
    OBJECTS(FREE)
    return failed != 0;
}
