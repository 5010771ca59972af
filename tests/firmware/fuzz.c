/* Random writes, reads, resets, links and times against the application: `fuzz SEED STEPS`. Ends with a word of what was
 * done, or aborts at the first rule that does not hold. */
#include "port.h"
#include "sensor.h"

#include <stdio.h>
#include <stdlib.h>

static struct sensor sensor;
static uint32_t now_us, noise;
static uint16_t mtu, rate;
static int connected, subscribed, measures, next_number = -1;
static unsigned long writes, taken, resets, packets;

#define MUST(condition)                                                                   \
    do {                                                                                  \
        if (!(condition)) {                                                               \
            fprintf(stderr, "line %d does not hold: %s\n", __LINE__, #condition);        \
            abort();                                                                      \
        }                                                                                 \
    } while (0)

static uint32_t any(uint32_t below)
{
    noise ^= noise << 13;
    noise ^= noise >> 17;
    noise ^= noise << 5;
    return noise % below;
}

uint32_t port_now_us(void)
{
    return now_us;
}

int port_part_start(uint16_t rate_hz)
{
    MUST(rate_hz == 50 || rate_hz == 100 || rate_hz == 200);
    if (any(20) == 0) {
        return -1;
    }
    measures = 1;
    rate = rate_hz;
    return 0;
}

void port_part_stop(void)
{
    measures = 0;
}

int16_t port_temperature(void)
{
    return (int16_t)any(65536);
}

uint16_t port_cell_mv(void)
{
    return (uint16_t)(any(30) == 0 ? any(65536) : 3300 + any(1000));
}

void port_light(int on)
{
    MUST(on == 0 || on == 1);
}

void port_advertise(const uint8_t *data, size_t length, const uint8_t *response, size_t response_length,
                    uint16_t interval_ms)
{
    MUST(length <= 31 && response_length <= 31 && data[0] == 2 && response[1] == 0x21);
    MUST(interval_ms == 100 || interval_ms == 1000);
}

void port_ask_connection(uint16_t interval, uint16_t latency, uint16_t timeout)
{
    MUST(interval == 9 && latency == 0 && timeout >= 10);
}

int port_notify(const uint8_t *data, size_t length)
{
    const int number = data[2] | data[3] << 8;

    MUST(connected && subscribed && sensor.streaming);
    MUST(data[0] == 1 && data[1] >= 1 && length == 8u + 12u * data[1]);
    MUST(length + 3 <= (mtu < 23 ? 23 : mtu));
    if (any(4) == 0) {
        return 0;
    }
    next_number = number;
    packets++;
    return 1;
}

void port_switch_off(void)
{
    MUST(!sensor.streaming);
}

static void reset(void)
{
    static const uint16_t rates[] = {100, 50, 200, 0};
    static const struct board board = {"Fuzz", "F-\xc3\x9c-123456789012", "fuzz", "0", rates, 2000, 16};

    measures = connected = subscribed = 0;
    MUST(sensor_init(&sensor, &board) == 0);
    resets++;
}

static void write_anything(void)
{
    uint8_t value[24];
    size_t length = any(sizeof value), k;
    uint8_t before[SENSOR_VALUE_BYTES], after[SENSOR_VALUE_BYTES], answer;
    size_t first, second;

    for (k = 0; k < sizeof value; k++) {
        value[k] = (uint8_t)any(256);
    }
    if (any(2) == 0) { /* nearly right */
        value[0] = (uint8_t)any(6);
        length = value[0] == 3 ? 4 : value[0] == 4 ? 2 : 1;
        value[1] = (uint8_t)(50u << any(3));
        value[2] = (uint8_t)(any(8) == 0);
        value[3] = (uint8_t)any(24);
    }
    MUST(sensor_read(&sensor, ATTRIBUTE_CONTROL, before, &first) == ANSWER_OK);
    answer = sensor_write(&sensor, (uint8_t)(any(20) == 0 ? any(256) : ATTRIBUTE_CONTROL), value, length);
    MUST(sensor_read(&sensor, ATTRIBUTE_CONTROL, after, &second) == ANSWER_OK);
    MUST(first == 4 && second == 4 && after[0] <= 1 && after[0] == measures);
    MUST(answer == ANSWER_OK || answer == ANSWER_NOT_WRITABLE || answer == ANSWER_FAILED || answer >= 0x80);
    for (k = 0; answer != ANSWER_OK && k < 4; k++) {
        MUST(before[k] == after[k]);
    }
    taken += answer == ANSWER_OK;
    writes++;
}

static void pass(void)
{
    uint32_t samples = any(any(50) == 0 ? 300 : 20);
    int16_t gyr[3], acc[3];
    int k;

    for (; samples > 0; samples--) {
        now_us += measures ? 1000000u / rate : any(100000);
        for (k = 0; k < 3; k++) {
            gyr[k] = (int16_t)any(65536);
            acc[k] = (int16_t)any(65536);
        }
        if (any(30) == 0) {
            sensor_sample_missing(&sensor, now_us);
        } else {
            sensor_sample(&sensor, now_us, gyr, acc); /* also when nobody measures: a late interrupt */
        }
        if (any(40) != 0) {
            sensor_run(&sensor);
        }
    }
}

static void read_anything(void)
{
    uint8_t value[SENSOR_VALUE_BYTES];
    size_t length;

    (void)sensor_read(&sensor, (uint8_t)any(ATTRIBUTES + 3), value, &length);
    MUST(length <= SENSOR_VALUE_BYTES);
}

static void link_changes(void)
{
    if (!connected) {
        connected = 1;
        mtu = 23;
        sensor_connected(&sensor);
    } else if (any(3) == 0) {
        connected = subscribed = 0;
        sensor_disconnected(&sensor);
    } else if (any(2) == 0 && mtu == 23) { /* it is agreed once, and never becomes smaller */
        mtu = (uint16_t)(23u + any(500));
        sensor_mtu(&sensor, mtu);
    } else {
        subscribed = (int)any(2);
        sensor_subscribed(&sensor, subscribed);
    }
}

int main(int argc, char **argv)
{
    unsigned long steps = argc > 2 ? strtoul(argv[2], NULL, 10) : 1000;

    noise = argc > 1 ? (uint32_t)strtoul(argv[1], NULL, 10) * 2u + 1u : 1u;
    now_us = any(UINT32_MAX);
    reset();
    while (writes < steps) {
        switch (any(12)) {
        case 0:
            pass();
            break;
        case 1:
            read_anything();
            break;
        case 2:
            link_changes();
            break;
        case 3:
            if (any(10) == 0) {
                reset();
            }
            break;
        default:
            write_anything();
        }
    }
    printf("%lu writes, %lu taken, %lu resets, %lu packets, last number %d\n", writes, taken, resets, packets,
           next_number);
    return 0;
}
