/* Reads packets as text, writes them as hex: one packet a line, in and out.
 *
 *     in    raw|physical <sequence> <tick of first sample> <count>, then per sample gyr x y z acc x y z
 *           (whole numbers: raw, or thousandths of deg/s and millionths of g)
 *     out   the packet's bytes, and "full" where it did not take a sample
 */
#include "imu_packet.h"

#include <stdio.h>
#include <string.h>

int main(void)
{
    char kind[16];
    unsigned long sequence, tick, count;

    while (scanf("%15s %lu %lu %lu", kind, &sequence, &tick, &count) == 4) {
        struct imu_packet packet;
        size_t k;
        int refused = 0;

        imu_packet_init(&packet, (uint16_t)sequence);
        for (; count > 0; count--) {
            long value[6];
            int16_t raw[6];

            for (k = 0; k < 6; k++) {
                if (scanf("%ld", &value[k]) != 1) {
                    return 1;
                }
                if (strcmp(kind, "raw") == 0) {
                    raw[k] = (int16_t)value[k];
                } else {
                    raw[k] = k < 3 ? imu_raw_gyr((int32_t)value[k]) : imu_raw_acc((int32_t)value[k]);
                }
            }
            refused |= imu_packet_add(&packet, (uint32_t)tick, raw, raw + 3);
        }
        for (k = 0; k < imu_packet_length(&packet); k++) {
            printf("%02x", (unsigned)packet.bytes[k]);
        }
        puts(refused ? " full" : "");
    }
    return 0;
}
