#include "imu_packet.h"

static void put16(uint8_t *at, uint16_t value)
{
    at[0] = (uint8_t)(value & 0xFFu);
    at[1] = (uint8_t)(value >> 8);
}

static void put32(uint8_t *at, uint32_t value)
{
    put16(at, (uint16_t)(value & 0xFFFFu));
    put16(at + 2, (uint16_t)(value >> 16));
}

void imu_packet_init(struct imu_packet *packet, uint16_t sequence)
{
    packet->count = 0;
    packet->sequence = sequence;
}

int imu_packet_add(struct imu_packet *packet, uint32_t tick_us, const int16_t gyr[3], const int16_t acc[3])
{
    uint8_t *at;
    int k;

    if (packet->count >= IMU_PACKET_MAX_SAMPLES) {
        return -1;
    }
    if (packet->count == 0) {
        packet->bytes[0] = (uint8_t)IMU_PACKET_VERSION;
        put16(packet->bytes + 2, packet->sequence);
        put32(packet->bytes + 4, tick_us);
    }
    at = packet->bytes + IMU_PACKET_HEADER_BYTES + packet->count * IMU_PACKET_SAMPLE_BYTES;
    for (k = 0; k < 3; k++) {
        put16(at + 2 * k, (uint16_t)gyr[k]);
        put16(at + 6 + 2 * k, (uint16_t)acc[k]);
    }
    packet->count++;
    packet->bytes[1] = packet->count;
    return 0;
}

int imu_packet_add_missing(struct imu_packet *packet, uint32_t tick_us)
{
    static const int16_t nothing[3] = {0, 0, 0};

    return imu_packet_add(packet, tick_us, nothing, nothing);
}

size_t imu_packet_length(const struct imu_packet *packet)
{
    return IMU_PACKET_HEADER_BYTES + (size_t)packet->count * IMU_PACKET_SAMPLE_BYTES;
}

void imu_packet_next(struct imu_packet *packet)
{
    packet->count = 0;
    packet->sequence = (uint16_t)(packet->sequence + 1u);
}

uint8_t imu_packet_samples_for_mtu(uint16_t att_mtu)
{
    const uint16_t overhead = 3u + IMU_PACKET_HEADER_BYTES; /* opcode and handle of a notification, our header */
    uint16_t samples;

    if (att_mtu < overhead) {
        return 0;
    }
    samples = (uint16_t)((att_mtu - overhead) / IMU_PACKET_SAMPLE_BYTES);
    return (uint8_t)(samples < IMU_PACKET_MAX_SAMPLES ? samples : IMU_PACKET_MAX_SAMPLES);
}

/* value * 32768 / full_scale, to the nearest and away from zero at a half, kept in 16 bits. */
static int16_t scaled(int32_t value, int32_t full_scale)
{
    const int64_t half = full_scale / 2;
    const int64_t product = (int64_t)value * 32768;
    const int64_t raw = (product + (product < 0 ? -half : half)) / full_scale;

    if (raw > INT16_MAX) {
        return INT16_MAX;
    }
    return (int16_t)(raw < INT16_MIN ? INT16_MIN : raw);
}

int16_t imu_raw_gyr(int32_t mdps)
{
    return scaled(mdps, IMU_GYR_FULL_SCALE_MDPS);
}

int16_t imu_raw_acc(int32_t micro_g)
{
    return scaled(micro_g, IMU_ACC_FULL_SCALE_UG);
}
