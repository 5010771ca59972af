/* The sensor as a program for a bare Cortex-M4, on the MPS2 board with the image AN386 as QEMU emulates it: frames over
 * its first serial line. Registers: Arm, Cortex-M System Design Kit Technical Reference Manual, "APB UART"; addresses as
 * in QEMU's hw/arm/mps2.c.
 *
 *     qemu-system-arm -M mps2-an386 -display none -monitor none -serial stdio -kernel sensor.elf
 */
#include "frames.h"

#define UART 0x40004000u
#define DATA (*(volatile uint32_t *)UART)
#define STATE (*(volatile uint32_t *)(UART + 4u))
#define CONTROL (*(volatile uint32_t *)(UART + 8u))
#define DIVIDER (*(volatile uint32_t *)(UART + 16u))
#define TRANSMIT_FULL 1u
#define RECEIVED 2u

int stream_get(void)
{
    while ((STATE & RECEIVED) == 0) {
    }
    return (int)(DATA & 0xFFu);
}

void stream_put(const uint8_t *bytes, size_t length)
{
    size_t k;

    for (k = 0; k < length; k++) {
        while ((STATE & TRANSMIT_FULL) != 0) {
        }
        DATA = bytes[k];
    }
}

void stream_flush(void)
{
}

/* What the compiler asks for where there is no C library. Volatile, or it makes calls of these loops. */
void *memset(void *to, int value, size_t length);
void *memcpy(void *to, const void *from, size_t length);

void *memset(void *to, int value, size_t length)
{
    volatile uint8_t *at = to;

    while (length-- > 0) {
        *at++ = (uint8_t)value;
    }
    return to;
}

void *memcpy(void *to, const void *from, size_t length)
{
    volatile uint8_t *at = to;
    const uint8_t *bytes = from;

    while (length-- > 0) {
        *at++ = *bytes++;
    }
    return to;
}

/* Of memory.ld. */
extern uint32_t stack_top[], data_begin[], data_words[], data_stored[], bss_begin[], bss_words[];

static void reset(void)
{
    size_t k;

    for (k = 0; k < (size_t)data_words; k++) {
        data_begin[k] = data_stored[k];
    }
    for (k = 0; k < (size_t)bss_words; k++) {
        bss_begin[k] = 0;
    }
    DIVIDER = 16;
    CONTROL = 3; /* both ways on */
    frames_serve();
    for (;;) {
    }
}

static void fault(void)
{
    for (;;) {
    }
}

struct vectors {
    uint32_t *stack;
    void (*handlers[15])(void);
};

const struct vectors vectors __attribute__((section(".vectors"), used));
const struct vectors vectors = {stack_top, {reset, fault, fault, fault, fault, fault}};
