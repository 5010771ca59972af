#include "sensor.h"

#include "battery.h"
#include "port.h"
#include "text.h"

#define LEAST_MTU 23u
#define FACTORY_SAMPLES 1u
#define HURRIED_MS 100u /* advertising: the profile's longest while somebody looks for it */
#define SLOW_MS 1000u
#define HURRIED_US 60000000u
#define INTERVAL 9u /* 11.25 ms: the profile says why */
#define LATENCY 0u
#define TIMEOUT 200u      /* 2 s */
#define BLINK_US 250000u /* on, and off again: a person sees that it is meant */
#define CELL_US 1000000u
#define CELL_LOW_TIMES 3u /* a swing of the voltage is no empty cell */
#define SECOND_US 1000000u

/* ── packets ── */

static uint8_t samples_now(const struct sensor *sensor)
{
    const uint8_t room = imu_packet_samples_for_mtu(sensor->mtu);

    return room < sensor->samples_per_packet ? room : sensor->samples_per_packet;
}

static void finish_packet(struct sensor *sensor)
{
    if (sensor->packet.count > 0) {
        (void)queue_put(&sensor->queue, sensor->packet.bytes, imu_packet_length(&sensor->packet));
        imu_packet_next(&sensor->packet);
    }
}

/* From steps of the part's range to those of the profile's; at the part's end the profile's end at most. */
static int16_t rescaled(int16_t raw, uint16_t range, uint16_t wanted)
{
    const int32_t value = (int32_t)raw * range / wanted;

    if (value > INT16_MAX) {
        return INT16_MAX;
    }
    return (int16_t)(value < INT16_MIN ? INT16_MIN : value);
}

static void add(struct sensor *sensor, const struct sample *sample)
{
    if (sample->measured) {
        int16_t gyr[3], acc[3];
        int k;

        for (k = 0; k < 3; k++) {
            gyr[k] = rescaled(sample->gyr[k], sensor->board->gyr_range_dps, IMU_GYR_FULL_SCALE_MDPS / 1000);
            acc[k] = rescaled(sample->acc[k], sensor->board->acc_range_g, IMU_ACC_FULL_SCALE_UG / 1000000);
        }
        (void)imu_packet_add(&sensor->packet, sample->tick_us, gyr, acc);
    } else {
        (void)imu_packet_add_missing(&sensor->packet, sample->tick_us);
    }
    sensor->last_tick_us = sample->tick_us;
    sensor->has_streamed = 1;
    if (sensor->packet.count >= samples_now(sensor)) {
        finish_packet(sensor);
    }
}

static void pack(struct sensor *sensor)
{
    struct sample sample;

    while (ring_take(&sensor->ring, &sample)) {
        struct sample lost = sample;

        /* Samples of a packet are evenly spaced: what did not fit into the ring leaves a place behind. */
        lost.measured = 0;
        if (sample.missed_before == UINT8_MAX) {
            finish_packet(sensor); /* and perhaps more: the time between is not known to be even */
        }
        for (; sample.missed_before > 0; sample.missed_before--) {
            lost.tick_us = sample.tick_us - sample.missed_before * (SECOND_US / sensor->rate_hz);
            add(sensor, &lost);
        }
        add(sensor, &sample);
    }
}

static void send(struct sensor *sensor)
{
    uint8_t packet[IMU_PACKET_MAX_BYTES];
    size_t length;

    if (!sensor->subscribed) {
        queue_clear(&sensor->queue);
    }
    while ((length = queue_oldest(&sensor->queue, packet)) > 0 && port_notify(packet, length)) {
        queue_drop(&sensor->queue);
    }
}

static void forget_samples(struct sensor *sensor)
{
    ring_clear(&sensor->ring);
    queue_clear(&sensor->queue);
    sensor->packet.count = 0;
}

/* The numbers run on while nothing is sent, by as many packets as there would have been: the reader takes numbers and
 * ticks that part for a restart. */
static void count_on(struct sensor *sensor)
{
    if (sensor->has_streamed) {
        const uint32_t away_us = port_now_us() - sensor->last_tick_us;
        const uint32_t packet_us = SECOND_US / sensor->rate_hz * samples_now(sensor);

        imu_packet_init(&sensor->packet, (uint16_t)(sensor->packet.sequence + away_us / packet_us));
    }
}

/* ── commands ── */

static uint8_t start(struct sensor *sensor)
{
    if (sensor->streaming) {
        return ANSWER_OK;
    }
    if (port_part_start(sensor->rate_hz) != 0) {
        return ANSWER_FAILED;
    }
    forget_samples(sensor);
    count_on(sensor);
    sensor->streaming = 1;
    return ANSWER_OK;
}

static void stop(struct sensor *sensor)
{
    if (sensor->streaming) {
        sensor->streaming = 0;
        port_part_stop();
        forget_samples(sensor);
    }
}

static int has_rate(const struct board *board, uint16_t rate_hz)
{
    const uint16_t *rate;

    for (rate = board->rates_hz; *rate != 0; rate++) {
        if (*rate == rate_hz) {
            return 1;
        }
    }
    return 0;
}

static uint8_t set(struct sensor *sensor, uint16_t rate_hz, uint8_t samples)
{
    if (!has_rate(sensor->board, rate_hz) || samples == 0 || samples > IMU_PACKET_MAX_SAMPLES) {
        return ANSWER_BAD_VALUE;
    }
    if (sensor->streaming && rate_hz != sensor->rate_hz) {
        if (port_part_start(rate_hz) != 0) {
            return ANSWER_FAILED;
        }
        pack(sensor);
        finish_packet(sensor); /* one packet has one rate */
    }
    sensor->rate_hz = rate_hz;
    sensor->samples_per_packet = samples;
    if (sensor->packet.count >= samples_now(sensor)) {
        finish_packet(sensor);
    }
    return ANSWER_OK;
}

static void light(struct sensor *sensor, uint8_t on)
{
    if (on != sensor->lit) {
        sensor->lit = on;
        port_light(on);
    }
}

static void begin_blinking(struct sensor *sensor, uint8_t seconds)
{
    sensor->blinking = 1;
    sensor->blink_begun_us = port_now_us();
    sensor->blink_us = seconds * SECOND_US;
}

static void blink(struct sensor *sensor)
{
    if (sensor->blinking) {
        const uint32_t passed_us = port_now_us() - sensor->blink_begun_us;

        if (passed_us >= sensor->blink_us) {
            sensor->blinking = 0;
        }
        light(sensor, (uint8_t)(sensor->blinking && passed_us / BLINK_US % 2u == 0));
    }
}

/* Commands by their first byte, from 1, and how long they are. */
enum { START = 1, STOP, SETTINGS, BLINK };
static const uint8_t lengths[] = {0, 1, 1, 4, 2};

static uint8_t command(struct sensor *sensor, const uint8_t *value, size_t length)
{
    if (length == 0 || value[0] < START || value[0] > BLINK) {
        return ANSWER_UNKNOWN_COMMAND;
    }
    if (length != lengths[value[0]]) {
        return ANSWER_BAD_VALUE;
    }
    switch (value[0]) {
    case START:
        return start(sensor);
    case STOP:
        stop(sensor);
        return ANSWER_OK;
    case SETTINGS:
        return set(sensor, (uint16_t)(value[1] | value[2] << 8), value[3]);
    default:
        begin_blinking(sensor, value[1]);
        return ANSWER_OK;
    }
}

/* ── what is read ── */

static size_t text_of(uint8_t value[SENSOR_VALUE_BYTES], const char *text)
{
    const size_t length = text_length(text);

    return text_copy(value, text, length > SENSOR_VALUE_BYTES ? text_whole(text, SENSOR_VALUE_BYTES) : length);
}

static size_t status(const struct sensor *sensor, uint8_t *value)
{
    value[0] = sensor->streaming;
    value[1] = (uint8_t)(sensor->rate_hz & 0xFFu);
    value[2] = (uint8_t)(sensor->rate_hz >> 8);
    value[3] = sensor->samples_per_packet;
    return 4;
}

static size_t temperature(uint8_t *value)
{
    const uint16_t now = (uint16_t)port_temperature();

    value[0] = (uint8_t)(now & 0xFFu);
    value[1] = (uint8_t)(now >> 8);
    return 2;
}

uint8_t sensor_read(struct sensor *sensor, uint8_t attribute, uint8_t value[SENSOR_VALUE_BYTES], size_t *length)
{
    switch (attribute) {
    case ATTRIBUTE_CONTROL:
        *length = status(sensor, value);
        break;
    case ATTRIBUTE_LAYOUT:
        *length = text_of(value, TABLE_LAYOUT);
        break;
    case ATTRIBUTE_TEMPERATURE:
        *length = temperature(value);
        break;
    case ATTRIBUTE_BATTERY:
        value[0] = battery_percent(sensor->cell_mv);
        *length = 1;
        break;
    case ATTRIBUTE_MODEL:
        *length = text_of(value, sensor->board->model);
        break;
    case ATTRIBUTE_SERIAL:
        *length = text_of(value, sensor->board->serial);
        break;
    case ATTRIBUTE_FIRMWARE:
        *length = text_of(value, sensor->board->firmware);
        break;
    default:
        *length = 0;
        return ANSWER_NOT_READABLE;
    }
    return ANSWER_OK;
}

uint8_t sensor_write(struct sensor *sensor, uint8_t attribute, const uint8_t *value, size_t length)
{
    return attribute == ATTRIBUTE_CONTROL ? command(sensor, value, length) : ANSWER_NOT_WRITABLE;
}

/* ── the link ── */

static void advertise(struct sensor *sensor, uint16_t interval_ms)
{
    uint8_t data[ADVERTISING_BYTES], response[ADVERTISING_BYTES];
    const size_t length = table_advertisement(data, sensor->board->name);

    port_advertise(data, length, response, table_scan_response(response, sensor->board->serial), interval_ms);
    sensor->hurried = interval_ms == HURRIED_MS;
    sensor->advertised_us = port_now_us();
}

static void look_for_a_client(struct sensor *sensor)
{
    if (!sensor->connected && sensor->hurried && port_now_us() - sensor->advertised_us >= HURRIED_US) {
        advertise(sensor, SLOW_MS);
    }
}

void sensor_connected(struct sensor *sensor)
{
    sensor->connected = 1;
    sensor->subscribed = 0;
    sensor->mtu = LEAST_MTU;
    port_ask_connection(INTERVAL, LATENCY, TIMEOUT);
}

void sensor_disconnected(struct sensor *sensor)
{
    stop(sensor);
    sensor->connected = 0;
    sensor->subscribed = 0;
    sensor->mtu = LEAST_MTU;
    advertise(sensor, HURRIED_MS);
}

void sensor_mtu(struct sensor *sensor, uint16_t att_mtu)
{
    sensor->mtu = att_mtu < LEAST_MTU ? LEAST_MTU : att_mtu;
}

void sensor_subscribed(struct sensor *sensor, int on)
{
    sensor->subscribed = (uint8_t)(on != 0);
}

/* ── power ── */

static void look_at_the_cell(struct sensor *sensor)
{
    const uint32_t now_us = port_now_us();

    if (now_us - sensor->cell_looked_us < CELL_US) {
        return;
    }
    sensor->cell_looked_us = now_us;
    sensor->cell_mv = port_cell_mv();
    sensor->cell_low = (uint8_t)(sensor->cell_mv < BATTERY_EMPTY_MV ? sensor->cell_low + 1u : 0u);
    if (sensor->cell_low >= CELL_LOW_TIMES) {
        /* A part that starves repeats its last value for ever: better none. */
        stop(sensor);
        light(sensor, 0);
        sensor->off = 1;
        port_switch_off();
    }
}

/* ── what the board calls ── */

int sensor_init(struct sensor *sensor, const struct board *board)
{
    *sensor = (struct sensor){0};
    sensor->board = board;
    if (board->rates_hz[0] == 0 || board->gyr_range_dps < IMU_GYR_FULL_SCALE_MDPS / 1000 ||
        board->acc_range_g < IMU_ACC_FULL_SCALE_UG / 1000000) {
        return -1;
    }
    sensor->rate_hz = board->rates_hz[0];
    sensor->samples_per_packet = FACTORY_SAMPLES;
    sensor->mtu = LEAST_MTU;
    imu_packet_init(&sensor->packet, 0);
    sensor->cell_mv = port_cell_mv();
    sensor->cell_looked_us = port_now_us();
    advertise(sensor, HURRIED_MS);
    return 0;
}

void sensor_run(struct sensor *sensor)
{
    if (sensor->off) {
        return;
    }
    pack(sensor);
    send(sensor);
    blink(sensor);
    look_for_a_client(sensor);
    look_at_the_cell(sensor);
}

void sensor_sample(struct sensor *sensor, uint32_t tick_us, const int16_t gyr[3], const int16_t acc[3])
{
    if (sensor->streaming) {
        ring_put(&sensor->ring, tick_us, gyr, acc, 1);
    }
}

void sensor_sample_missing(struct sensor *sensor, uint32_t tick_us)
{
    static const int16_t nothing[3] = {0, 0, 0};

    if (sensor->streaming) {
        ring_put(&sensor->ring, tick_us, nothing, nothing, 0);
    }
}
