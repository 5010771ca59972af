#include "frames.h"

#include "port.h"
#include "sensor.h"

#define FRAME_BYTES 1024u
#define LOOP_US 1000u
#define SAMPLE_BYTES 12u
#define ONE_G 2048

static struct sensor sensor;
static char serial[SENSOR_VALUE_BYTES + 1u] = "DESKTOP-1";
static uint32_t now_us, sample_due_us, loop_due_us;
static uint16_t period_us, faults[FAULT_CLOCK + 1], cell_mv = 3950;
static int16_t celsius_100 = 2450;
static uint8_t given[FRAME_BYTES * 16u];
static size_t given_first, given_end;
static uint32_t noise = 1;

static const uint16_t rates[] = {100, 50, 200, 400, 0}, no_rates[] = {0};
static struct board board = {"Desktop sensor", serial, "desktop", "1.0.0", rates, 2000, 16};

static uint16_t u16(const uint8_t *at)
{
    return (uint16_t)(at[0] | at[1] << 8);
}

static void put16(uint8_t *at, uint16_t value)
{
    at[0] = (uint8_t)(value & 0xFFu);
    at[1] = (uint8_t)(value >> 8);
}

static void say(char kind, const uint8_t *first, size_t length, const uint8_t *second, size_t second_length)
{
    uint8_t head[3];

    head[0] = (uint8_t)kind;
    put16(head + 1, (uint16_t)(length + second_length));
    stream_put(head, sizeof head);
    stream_put(first, length);
    stream_put(second, second_length);
}

/* ── what the application asks of its board ── */

uint32_t port_now_us(void)
{
    return now_us;
}

static int happens(enum fault fault)
{
    if (faults[fault] == 0) {
        return 0;
    }
    faults[fault]--;
    return 1;
}

int port_part_start(uint16_t rate_hz)
{
    if (happens(FAULT_PART_DEAD)) {
        return -1;
    }
    period_us = (uint16_t)(1000000u / rate_hz);
    sample_due_us = now_us + period_us;
    return 0;
}

void port_part_stop(void)
{
    period_us = 0;
}

int16_t port_temperature(void)
{
    return celsius_100;
}

uint16_t port_cell_mv(void)
{
    return cell_mv;
}

void port_light(int on)
{
    const uint8_t value = (uint8_t)on;

    say('l', &value, 1, NULL, 0);
}

void port_advertise(const uint8_t *data, size_t length, const uint8_t *response, size_t response_length,
                    uint16_t interval_ms)
{
    uint8_t body[3 + ADVERTISING_BYTES];
    size_t k;

    put16(body, interval_ms);
    body[2] = (uint8_t)length;
    for (k = 0; k < length; k++) {
        body[3 + k] = data[k];
    }
    say('a', body, 3 + length, response, response_length);
}

void port_ask_connection(uint16_t interval, uint16_t latency, uint16_t timeout)
{
    uint8_t body[6];

    put16(body, interval);
    put16(body + 2, latency);
    put16(body + 4, timeout);
    say('q', body, sizeof body, NULL, 0);
}

int port_notify(const uint8_t *data, size_t length)
{
    if (happens(FAULT_RADIO_BUSY)) {
        return 0;
    }
    say('p', data, length, NULL, 0);
    return 1;
}

void port_switch_off(void)
{
    say('o', NULL, 0, NULL, 0);
}

/* ── the inertial part and the clock ── */

static int16_t small(void)
{
    noise = noise * 1103515245u + 12345u;
    return (int16_t)((int)(noise >> 16 & 7u) - 3);
}

static void measure(uint32_t tick_us)
{
    int16_t value[6];
    int k;

    for (k = 0; k < 6; k++) {
        if (given_first < given_end) {
            value[k] = (int16_t)u16(given + given_first);
            given_first += 2;
        } else {
            value[k] = (int16_t)(small() + (k == 5 ? ONE_G : 0)); /* at rest, z up */
        }
    }
    if (happens(FAULT_PART_SILENT)) {
        sensor_sample_missing(&sensor, tick_us);
    } else {
        sensor_sample(&sensor, tick_us, value, value + 3);
    }
}

static int is_due(uint32_t at_us, uint32_t end_us)
{
    return (int32_t)(at_us - end_us) <= 0;
}

/* Interrupts and rounds of the main loop in their order. */
static void pass(uint32_t us)
{
    const uint32_t end_us = now_us + us;

    while (is_due(loop_due_us, end_us)) {
        while (period_us != 0 && is_due(sample_due_us, loop_due_us)) {
            now_us = sample_due_us;
            sample_due_us += period_us;
            measure(now_us);
        }
        now_us = loop_due_us;
        loop_due_us += LOOP_US;
        if (!happens(FAULT_LOOP_LATE)) {
            sensor_run(&sensor);
        }
    }
    now_us = end_us;
}

/* ── frames ── */

static void tell_table(void)
{
    size_t k;

    for (k = 0; k < ATTRIBUTES; k++) {
        const struct characteristic *row = &table[k];
        uint8_t head[3 + 16 + 1];
        size_t n;

        head[0] = row->id;
        head[1] = row->properties;
        head[2] = row->service->length;
        for (n = 0; n < row->service->length; n++) {
            head[3 + n] = row->service->bytes[n];
        }
        head[3 + n] = row->uuid.length;
        say('g', head, 4 + n, row->uuid.bytes, row->uuid.length);
    }
}

static void power_up(const uint8_t *text, size_t length)
{
    size_t k;

    for (k = 0; k < length && k < SENSOR_VALUE_BYTES; k++) {
        serial[k] = (char)text[k];
    }
    if (k > 0) {
        serial[k] = '\0';
    }
    now_us = faults[FAULT_CLOCK] == 0 ? 0 : UINT32_MAX - faults[FAULT_CLOCK] * 1000000u;
    loop_due_us = now_us + LOOP_US;
    period_us = 0;
    given_first = given_end = 0;
    board.gyr_range_dps = (uint16_t)(faults[FAULT_RANGES] == 1 ? 4000 : faults[FAULT_RANGES] == 2 ? 1000 : 2000);
    board.acc_range_g = (uint16_t)(faults[FAULT_RANGES] == 1 ? 32 : 16);
    board.rates_hz = faults[FAULT_RANGES] == 3 ? no_rates : rates;
    tell_table();
    if (sensor_init(&sensor, &board) != 0) {
        port_switch_off();
    }
}

static void give(const uint8_t *bytes, size_t length)
{
    size_t k;

    for (k = 0; given_first > 0 && given_first + k < given_end; k++) {
        given[k] = given[given_first + k];
    }
    given_end -= given_first;
    given_first = 0;
    for (k = 0; k < length && given_end < sizeof given; k++) {
        given[given_end++] = bytes[k];
    }
}

static void read_for(uint8_t attribute)
{
    uint8_t value[1 + SENSOR_VALUE_BYTES];
    size_t length;

    value[0] = sensor_read(&sensor, attribute, value + 1, &length);
    say('R', value, 1 + length, NULL, 0);
}

static void write_for(uint8_t attribute, const uint8_t *value, size_t length)
{
    const uint8_t answer = sensor_write(&sensor, attribute, value, length);

    say('W', &answer, 1, NULL, 0);
}

static void obey(char kind, const uint8_t *body, size_t length)
{
    switch (kind) {
    case 'i':
        power_up(body, length);
        break;
    case 't':
        pass((uint32_t)u16(body) | (uint32_t)u16(body + 2) << 16);
        break;
    case 's':
        give(body, length - length % SAMPLE_BYTES);
        break;
    case 'c':
        sensor_connected(&sensor);
        break;
    case 'd':
        sensor_disconnected(&sensor);
        break;
    case 'm':
        sensor_mtu(&sensor, u16(body));
        break;
    case 'n':
        sensor_subscribed(&sensor, body[0]);
        break;
    case 'r':
        read_for(body[0]);
        break;
    case 'w':
        write_for(body[0], body + 1, length - 1);
        break;
    case 'v':
        cell_mv = u16(body);
        break;
    case 'k':
        celsius_100 = (int16_t)u16(body);
        break;
    case 'x':
        if (body[0] <= FAULT_CLOCK) {
            faults[body[0]] = u16(body + 1);
        }
        break;
    default:
        break;
    }
}

static int frame(void)
{
    static uint8_t body[FRAME_BYTES];
    const int kind = stream_get();
    const int low = stream_get(), high = stream_get();
    size_t length, k;

    if (kind < 0 || low < 0 || high < 0) {
        return 0;
    }
    length = (size_t)low | (size_t)high << 8;
    if (length > FRAME_BYTES) {
        return 0;
    }
    for (k = 0; k < length; k++) {
        const int byte = stream_get();

        if (byte < 0) {
            return 0;
        }
        body[k] = (uint8_t)byte;
    }
    obey((char)kind, body, length);
    say('.', NULL, 0, NULL, 0);
    stream_flush();
    return 1;
}

void frames_serve(void)
{
    while (frame()) {
    }
}
