/* What somebody who builds a sensor may get wrong, planted one at a time by the environment's MISTAKE: for tests alone.
 * The linker puts these functions in front of the application's and the port's (--wrap); the sources stay as they are. */
#include "port.h"
#include "sensor.h"

#include <stdlib.h>
#include <string.h>

struct characteristic __wrap_table[ATTRIBUTES];
extern const struct characteristic __real_table[ATTRIBUTES];

uint8_t __real_sensor_read(struct sensor *sensor, uint8_t attribute, uint8_t *value, size_t *length);
uint8_t __wrap_sensor_read(struct sensor *sensor, uint8_t attribute, uint8_t *value, size_t *length);
uint8_t __real_sensor_write(struct sensor *sensor, uint8_t attribute, const uint8_t *value, size_t length);
uint8_t __wrap_sensor_write(struct sensor *sensor, uint8_t attribute, const uint8_t *value, size_t length);
void __real_sensor_disconnected(struct sensor *sensor);
void __wrap_sensor_disconnected(struct sensor *sensor);
void __real_sensor_subscribed(struct sensor *sensor, int on);
void __wrap_sensor_subscribed(struct sensor *sensor, int on);
int __real_port_notify(const uint8_t *data, size_t length);
int __wrap_port_notify(const uint8_t *data, size_t length);
void __real_port_advertise(const uint8_t *data, size_t length, const uint8_t *response, size_t response_length,
                           uint16_t interval_ms);
void __wrap_port_advertise(const uint8_t *data, size_t length, const uint8_t *response, size_t response_length,
                           uint16_t interval_ms);

static int began; /* START was taken, and no packet has gone since */
static uint8_t kept[4];
static int has_kept, reads;

static int is(const char *mistake)
{
    const char *chosen = getenv("MISTAKE");

    return chosen != NULL && strcmp(chosen, mistake) == 0;
}

static uint32_t u32(const uint8_t *at)
{
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

static void put32(uint8_t *at, uint32_t value)
{
    at[0] = (uint8_t)value;
    at[1] = (uint8_t)(value >> 8);
    at[2] = (uint8_t)(value >> 16);
    at[3] = (uint8_t)(value >> 24);
}

static void swap(uint8_t *at)
{
    const uint8_t first = at[0];

    at[0] = at[1];
    at[1] = first;
}

__attribute__((constructor)) static void plant_in_the_table(void)
{
    memcpy(__wrap_table, __real_table, sizeof __wrap_table);
    if (is("motion-elsewhere")) {
        __wrap_table[ATTRIBUTE_MOTION].uuid.bytes[12] = 0x2f;
    } else if (is("motion-cannot-notify")) {
        __wrap_table[ATTRIBUTE_MOTION].properties = CAN_READ;
    } else if (is("control-unreadable")) {
        __wrap_table[ATTRIBUTE_CONTROL].properties = CAN_WRITE;
    } else if (is("battery-in-the-wrong-service")) {
        __wrap_table[ATTRIBUTE_BATTERY].service = __wrap_table[ATTRIBUTE_MODEL].service;
    } else if (is("uuid-in-big-endian")) {
        swap(__wrap_table[ATTRIBUTE_SERIAL].uuid.bytes);
    }
}

void __wrap_port_advertise(const uint8_t *data, size_t length, const uint8_t *response, size_t response_length,
                           uint16_t interval_ms)
{
    uint8_t wrong[ADVERTISING_BYTES], answer[ADVERTISING_BYTES];

    memcpy(wrong, data, length);
    memcpy(answer, response, response_length);
    if (is("another-service-advertised")) {
        wrong[5] ^= 1u;
    } else if (is("no-name")) {
        length = 21;
    } else if (is("announces-another-serial")) {
        answer[response_length - 1] ^= 1u;
    }
    __real_port_advertise(wrong, length, answer, response_length, interval_ms);
}

static void spoil(uint8_t *packet, size_t length)
{
    static uint32_t first_tick, sent;
    static uint16_t first_number;
    size_t k;

    if (began) {
        first_tick = u32(packet + 4);
        first_number = (uint16_t)u32(packet + 2);
        began = 0;
    }
    sent++;
    if (is("version-2")) {
        packet[0] = 2;
    } else if (is("flags")) {
        packet[0] |= 0x10u;
    } else if (is("count-is-one-less")) {
        packet[1]--;
    } else if (is("number-in-big-endian")) {
        swap(packet + 2);
    } else if (is("number-stands-still")) {
        packet[2] = packet[3] = 0;
    } else if (is("tick-in-ms")) {
        put32(packet + 4, u32(packet + 4) / 1000u);
    } else if (is("tick-when-sent")) {
        put32(packet + 4, u32(packet + 4) + sent * 7919u % 3000u);
    } else if (is("tick-of-a-slow-clock")) {
        put32(packet + 4, u32(packet + 4) / 10u * 9u);
    } else if (is("tick-begins-anew")) {
        put32(packet + 4, u32(packet + 4) - first_tick);
    } else if (is("number-begins-anew")) {
        const uint32_t number = u32(packet + 2) - first_number;

        packet[2] = (uint8_t)number;
        packet[3] = (uint8_t)(number >> 8);
    }
    for (k = 8; k + 11 < length; k += 12) {
        int n;

        for (n = 0; n < 12; n += 2) {
            if (is("samples-in-big-endian")) {
                swap(packet + k + n);
            }
        }
        for (n = 6; n < 12; n += 2) {
            if (is("range-of-8-g")) {
                const int value = (int16_t)(packet[k + (size_t)n] | packet[k + (size_t)n + 1] << 8) * 2;

                packet[k + (size_t)n] = (uint8_t)value;
                packet[k + (size_t)n + 1] = (uint8_t)(value >> 8);
            }
        }
        if (is("samples-frozen")) {
            memcpy(packet + k, "\1\0\2\0\3\0\0\0\0\0\0\10", 12);
        }
    }
}

int __wrap_port_notify(const uint8_t *data, size_t length)
{
    uint8_t packet[IMU_PACKET_MAX_BYTES];

    memcpy(packet, data, length);
    spoil(packet, length);
    return __real_port_notify(packet, is("cut-tail") ? length - 2 : length);
}

uint8_t __wrap_sensor_read(struct sensor *sensor, uint8_t attribute, uint8_t *value, size_t *length)
{
    const uint8_t answer = __real_sensor_read(sensor, attribute, value, length);

    if (attribute == ATTRIBUTE_CONTROL && is("status-in-big-endian")) {
        swap(value + 1);
    } else if (attribute == ATTRIBUTE_CONTROL && is("status-says-factory")) {
        memcpy(value + 1, "\x64\x00\x01", 3);
    } else if (attribute == ATTRIBUTE_CONTROL && is("status-of-three-bytes")) {
        *length = 3;
    } else if (attribute == ATTRIBUTE_LAYOUT && is("layout-2")) {
        value[6] = '2';
    } else if (attribute == ATTRIBUTE_BATTERY && is("battery-of-255")) {
        value[0] = (uint8_t)(value[0] * 255 / 100);
    } else if (attribute == ATTRIBUTE_SERIAL && is("no-serial")) {
        *length = 0;
    } else if (attribute == ATTRIBUTE_SERIAL && is("serial-changes")) {
        value[0] = (uint8_t)('A' + reads++ % 26);
    } else if (attribute == ATTRIBUTE_MODEL && is("model-with-an-end")) {
        value[(*length)++] = '\0';
    } else if (attribute == ATTRIBUTE_TEMPERATURE && is("temperature-in-degrees")) {
        value[0] = 24;
        *length = 1;
    }
    return answer;
}

uint8_t __wrap_sensor_write(struct sensor *sensor, uint8_t attribute, const uint8_t *value, size_t length)
{
    uint8_t answer;

    if (length > 0 && value[0] == 1 && has_kept) {
        (void)__real_sensor_write(sensor, attribute, kept, 4);
        has_kept = 0;
    }
    if (length == 1 && value[0] == 2 && is("stop-does-nothing")) {
        return ANSWER_OK;
    }
    if (length == 4 && value[0] == 3 && sensor->streaming && is("settings-wait-for-start")) {
        memcpy(kept, value, 4);
        has_kept = 1;
        return ANSWER_OK;
    }
    if (length == 2 && value[0] == 4 && is("no-blink")) {
        return ANSWER_UNKNOWN_COMMAND;
    }
    if (length == 2 && value[0] == 1 && is("extra-bytes-taken")) {
        length = 1;
    }
    answer = __real_sensor_write(sensor, attribute, value, length);
    began |= answer == ANSWER_OK && value[0] == 1;
    if (answer == ANSWER_UNKNOWN_COMMAND && is("unknown-command-taken")) {
        return ANSWER_OK;
    }
    if (answer == ANSWER_BAD_VALUE && is("one-error-for-all")) {
        return ANSWER_UNKNOWN_COMMAND;
    }
    return answer;
}

void __wrap_sensor_disconnected(struct sensor *sensor)
{
    static const uint8_t start = 1, factory[4] = {3, 100, 0, 1};

    if (is("silent-after-a-link")) {
        return;
    }
    __real_sensor_disconnected(sensor);
    if (is("streams-on-after-a-link")) {
        (void)__real_sensor_write(sensor, ATTRIBUTE_CONTROL, &start, 1);
    } else if (is("forgets-settings-with-the-link")) {
        (void)__real_sensor_write(sensor, ATTRIBUTE_CONTROL, factory, 4);
    }
}

void __wrap_sensor_subscribed(struct sensor *sensor, int on)
{
    static const uint8_t start = 1;

    __real_sensor_subscribed(sensor, on);
    if (on && is("streams-unasked")) {
        (void)__real_sensor_write(sensor, ATTRIBUTE_CONTROL, &start, 1);
    }
}
