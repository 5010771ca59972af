/* Packets that wait for the radio, oldest first; when it is full the oldest ones go. Main loop only. */
#ifndef QUEUE_H
#define QUEUE_H

#include "imu_packet.h"

#ifndef QUEUE_BYTES
#define QUEUE_BYTES 2850u /* 50 packets of 4 samples with a byte each for the length: 1 s at 200 Hz */
#endif

struct queue {
    uint8_t bytes[QUEUE_BYTES]; /* a length, then a packet, and so on round */
    uint16_t first;
    uint16_t used;
};

void queue_clear(struct queue *queue);

/* Put a packet of at most IMU_PACKET_MAX_BYTES at the end. Returns how many old ones had to go for it. */
int queue_put(struct queue *queue, const uint8_t *packet, size_t length);

/* Copy the oldest packet; returns its length, 0 when there is none. */
size_t queue_oldest(const struct queue *queue, uint8_t packet[IMU_PACKET_MAX_BYTES]);

/* Take the oldest packet away. */
void queue_drop(struct queue *queue);

#endif
