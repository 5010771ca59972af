/* Samples on their way from the interrupt to the main loop: one writer, one reader, no lock. */
#ifndef RING_H
#define RING_H

#include <stdint.h>

#define RING_SAMPLES 16u /* a power of two; at 200 Hz the main loop may be away for 75 ms */

struct sample {
    uint32_t tick_us;
    int16_t gyr[3];
    int16_t acc[3];
    uint8_t measured;      /* 0: only the time is known */
    uint8_t missed_before; /* so many did not fit before this one; no more than 255 are counted */
};

struct ring {
    /* Volatile, so that the compiler writes a sample before the index that says it is there. A machine with several
     * cores would need a barrier too. */
    volatile struct sample samples[RING_SAMPLES];
    volatile uint8_t written;
    volatile uint8_t read;
    uint8_t missed;
};

/* Empty it; not while an interrupt may write. */
void ring_clear(struct ring *ring);

/* Called by the writer. With a full ring the sample is lost, and the next one that fits says so. */
void ring_put(struct ring *ring, uint32_t tick_us, const int16_t gyr[3], const int16_t acc[3], uint8_t measured);

/* Called by the reader: the oldest sample. Returns 1, or 0 when there is none. */
int ring_take(struct ring *ring, struct sample *sample);

#endif
