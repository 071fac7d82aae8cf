/* The checks on a Cortex-M3 without an operating system: vectors, start-up, and output by
 * semihosting. */
#include "checks.h"

#define MAKE(type, name) static type name;
OBJECTS(MAKE)

extern uint32_t data_begin[], data_end[], data_image[], bss_begin[], bss_end[], stack_top[];

enum { SYS_WRITE0 = 0x04, SYS_EXIT_EXTENDED = 0x20 };
enum { STOPPED_EXIT = 0x20026 };

/* Arm's semihosting interface: operation in r0, its argument in r1. */
static void semihost(uintptr_t operation, const void *argument) {
    register uintptr_t r0 __asm__("r0") = operation;
    register const void *r1 __asm__("r1") = argument;
    __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
}

static void say(const char *text) { semihost(SYS_WRITE0, text); }

static void leave(uint32_t status) {
    const uint32_t why[] = {STOPPED_EXIT, status};
    semihost(SYS_EXIT_EXTENDED, why);
    for (;;) {
    }
}

static void fault(void) {
    say("fault\n");
    leave(3);
}

static void start(void) {
#define POINTER(type, name) &name,
    static const struct objects objects = {OBJECTS(POINTER)};
    const uint32_t *image = data_image;
    for (uint32_t *word = data_begin; word < data_end; word++) {
        *word = *image++;
    }
    for (uint32_t *word = bss_begin; word < bss_end; word++) {
        *word = 0;
    }
    leave(checks(&objects, say) != 0);
}

/* Initial stack pointer, reset, then the exceptions up to SysTick. */
__attribute__((section(".vectors"), used)) static const struct {
    uint32_t *stack;
    void (*handlers[15])(void);
} vectors = {
    stack_top,
    {start, fault, fault, fault, fault, fault, fault, fault, fault, fault, fault, fault, fault,
     fault, fault},
};
