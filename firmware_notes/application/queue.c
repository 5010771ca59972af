#include "queue.h"

void queue_clear(struct queue *queue)
{
    queue->first = 0;
    queue->used = 0;
}

static uint8_t *at(struct queue *queue, size_t offset)
{
    return &queue->bytes[(queue->first + offset) % QUEUE_BYTES];
}

int queue_put(struct queue *queue, const uint8_t *packet, size_t length)
{
    int gone = 0;
    size_t k;

    while (queue->used + 1u + length > QUEUE_BYTES) {
        queue_drop(queue);
        gone++;
    }
    *at(queue, queue->used) = (uint8_t)length;
    for (k = 0; k < length; k++) {
        *at(queue, queue->used + 1u + k) = packet[k];
    }
    queue->used = (uint16_t)(queue->used + 1u + length);
    return gone;
}

size_t queue_oldest(const struct queue *queue, uint8_t packet[IMU_PACKET_MAX_BYTES])
{
    size_t length, k;

    if (queue->used == 0) {
        return 0;
    }
    length = queue->bytes[queue->first];
    for (k = 0; k < length; k++) {
        packet[k] = queue->bytes[(queue->first + 1u + k) % QUEUE_BYTES];
    }
    return length;
}

void queue_drop(struct queue *queue)
{
    const uint16_t length = (uint16_t)(queue->bytes[queue->first] + 1u);

    queue->first = (uint16_t)((queue->first + length) % QUEUE_BYTES);
    queue->used = (uint16_t)(queue->used - length);
}
