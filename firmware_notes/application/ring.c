#include "ring.h"

void ring_clear(struct ring *ring)
{
    ring->written = 0;
    ring->read = 0;
    ring->missed = 0;
}

void ring_put(struct ring *ring, uint32_t tick_us, const int16_t gyr[3], const int16_t acc[3], uint8_t measured)
{
    const uint8_t at = ring->written;
    volatile struct sample *sample = &ring->samples[at % RING_SAMPLES];
    int k;

    if ((uint8_t)(at - ring->read) >= RING_SAMPLES) {
        if (ring->missed < UINT8_MAX) {
            ring->missed++;
        }
        return;
    }
    sample->tick_us = tick_us;
    for (k = 0; k < 3; k++) {
        sample->gyr[k] = gyr[k];
        sample->acc[k] = acc[k];
    }
    sample->measured = measured;
    sample->missed_before = ring->missed;
    ring->missed = 0;
    ring->written = (uint8_t)(at + 1u);
}

int ring_take(struct ring *ring, struct sample *sample)
{
    const uint8_t at = ring->read;
    const volatile struct sample *here = &ring->samples[at % RING_SAMPLES];
    int k;

    if (at == ring->written) {
        return 0;
    }
    sample->tick_us = here->tick_us;
    for (k = 0; k < 3; k++) {
        sample->gyr[k] = here->gyr[k];
        sample->acc[k] = here->acc[k];
    }
    sample->measured = here->measured;
    sample->missed_before = here->missed_before;
    ring->read = (uint8_t)(at + 1u);
    return 1;
}
