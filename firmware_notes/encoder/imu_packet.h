/* Packets of the GATT profile, version 1 (../gatt_profile.md), in portable C99 without dependencies.
 *
 * Usage, with one packet in the making at a time:
 *
 *     static struct imu_packet packet;
 *     imu_packet_init(&packet, 0);                          once, at power-up
 *     imu_packet_add(&packet, tick_us, gyr, acc);           at every data-ready of the part
 *     if (packet.count == samples_per_packet) {
 *         send(packet.bytes, imu_packet_length(&packet));   or queue it
 *         imu_packet_next(&packet);
 *     }
 *
 * No memory is allocated, nothing blocks, and no byte order or alignment of the machine is assumed.
 */
#ifndef IMU_PACKET_H
#define IMU_PACKET_H

#include <stddef.h>
#include <stdint.h>

#define IMU_PACKET_VERSION 1u
#define IMU_PACKET_HEADER_BYTES 8u
#define IMU_PACKET_SAMPLE_BYTES 12u
#define IMU_PACKET_MAX_SAMPLES 19u /* fills an ATT MTU of 247 */
#define IMU_PACKET_MAX_BYTES (IMU_PACKET_HEADER_BYTES + IMU_PACKET_MAX_SAMPLES * IMU_PACKET_SAMPLE_BYTES)

#define IMU_GYR_FULL_SCALE_MDPS 2000000L /* what a raw 32768 stands for, in thousandths of a degree per second */
#define IMU_ACC_FULL_SCALE_UG 16000000L  /* and in millionths of g */

struct imu_packet {
    uint8_t bytes[IMU_PACKET_MAX_BYTES];
    uint8_t count;     /* samples in it so far */
    uint16_t sequence; /* number of this packet */
};

/* An empty packet with this number. */
void imu_packet_init(struct imu_packet *packet, uint16_t sequence);

/* Add one sample. `tick_us` counts: only that of a packet's first sample is sent. `gyr` and `acc` are x, y, z in steps of
 * full scale / 32768, as parts set to +-2000 deg/s and +-16 g give them. Returns 0, or -1 when the packet is full. */
int imu_packet_add(struct imu_packet *packet, uint32_t tick_us, const int16_t gyr[3], const int16_t acc[3]);

/* Add a sample that could not be measured: it carries the time only. Returns as imu_packet_add. */
int imu_packet_add_missing(struct imu_packet *packet, uint32_t tick_us);

/* Bytes of the packet as it stands; a packet without samples must not be sent. */
size_t imu_packet_length(const struct imu_packet *packet);

/* Begin the next packet: empty, number one higher, modulo 65,536. Call it for a packet that is dropped, too. */
void imu_packet_next(struct imu_packet *packet);

/* How many samples a notification holds at this ATT MTU; at most IMU_PACKET_MAX_SAMPLES. */
uint8_t imu_packet_samples_for_mtu(uint16_t att_mtu);

/* Raw numbers from thousandths of a degree per second and from millionths of g, rounded to the nearest and clipped to
 * full scale, never wrapped; for parts with other ranges. */
int16_t imu_raw_gyr(int32_t mdps);
int16_t imu_raw_acc(int32_t micro_g);

#endif
