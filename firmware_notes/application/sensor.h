/* The whole application of a sensor that speaks the GATT profile, version 1 (../gatt_profile.md), in portable C99:
 * no operating system, no memory allocated, nothing blocks.
 *
 *     static struct sensor sensor;
 *     sensor_init(&sensor, &board);       once, at power-up, when the radio is ready
 *     for (;;) {
 *         sensor_run(&sensor);
 *         sleep until an interrupt, for 20 ms at most;
 *     }
 *
 * The radio's stack calls sensor_connected … sensor_write as things happen, in the main loop's context. What the board
 * must do is in port.h.
 */
#ifndef SENSOR_H
#define SENSOR_H

#include "imu_packet.h"
#include "queue.h"
#include "ring.h"
#include "table.h"

/* Answers to reads and writes: Bluetooth Core Specification, Vol 3, Part F, 3.4.1.1, and the profile's own two. */
#define ANSWER_OK 0x00u
#define ANSWER_NOT_READABLE 0x02u
#define ANSWER_NOT_WRITABLE 0x03u
#define ANSWER_FAILED 0x0Eu /* the inertial part does not answer */
#define ANSWER_UNKNOWN_COMMAND 0x80u
#define ANSWER_BAD_VALUE 0x81u

struct board {
    const char *name;     /* what advertising tells */
    const char *serial;   /* unlike every other sensor's, never changing: from the chip's own number */
    const char *model;
    const char *firmware;
    const uint16_t *rates_hz; /* what the part can do, 0 at the end; the first is the factory's setting */
    uint16_t gyr_range_dps;   /* the part's full scale for ±32768, at least 2000 and 16 */
    uint16_t acc_range_g;
};

struct sensor {
    const struct board *board;
    struct ring ring;
    struct queue queue;
    struct imu_packet packet; /* in the making */
    uint16_t rate_hz;
    uint8_t samples_per_packet;
    volatile uint8_t streaming;
    uint8_t connected;
    uint8_t subscribed;
    uint16_t mtu;
    uint8_t has_streamed;
    uint32_t last_tick_us; /* of the last sample that went into a packet */
    uint8_t blinking;
    uint8_t lit;
    uint32_t blink_begun_us;
    uint32_t blink_us;
    uint8_t hurried; /* advertising at the short interval */
    uint32_t advertised_us;
    uint32_t cell_looked_us;
    uint8_t cell_low; /* so many times in a row */
    uint8_t off;
    uint16_t cell_mv;
};

/* Power-up: factory settings, not streaming, advertising. Returns 0, or -1 for a board whose ranges are too small, or
 * that has no rate. */
int sensor_init(struct sensor *sensor, const struct board *board);

/* One round of the main loop. */
void sensor_run(struct sensor *sensor);

/* From the data-ready interrupt: a sample in the part's own steps, x y z, and when it was measured. */
void sensor_sample(struct sensor *sensor, uint32_t tick_us, const int16_t gyr[3], const int16_t acc[3]);

/* From the interrupt: the sample of this time could not be fetched. */
void sensor_sample_missing(struct sensor *sensor, uint32_t tick_us);

void sensor_connected(struct sensor *sensor);
void sensor_disconnected(struct sensor *sensor);
void sensor_mtu(struct sensor *sensor, uint16_t att_mtu);
void sensor_subscribed(struct sensor *sensor, int on);

#define SENSOR_VALUE_BYTES 64u /* no value that is read is longer; longer texts are cut */

/* A client reads or writes a characteristic. Both return an answer; a read also the value and its length. */
uint8_t sensor_read(struct sensor *sensor, uint8_t attribute, uint8_t value[SENSOR_VALUE_BYTES], size_t *length);
uint8_t sensor_write(struct sensor *sensor, uint8_t attribute, const uint8_t *value, size_t length);

#endif
