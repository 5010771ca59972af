/* The board of a sensor that is a process: what the application says and hears goes as frames over a byte stream.
 *
 * A frame is its kind (one letter), a length (u16, little endian), and so many bytes. The program that drives the
 * process, in place of radio, inertial part, cell and clock, sends one frame at a time; the answer is any number of
 * frames, the last of them '.'.
 *
 *     to the process                                  from it
 *     i  power-up: the serial number                  g  one characteristic: id, properties, length of the service's
 *     t  u32 microseconds go by                          UUID, UUID, length of its own, UUID
 *     s  samples that the part will measure next,     a  advertise: u16 ms, u8 length, data, scan response
 *        12 bytes each as in a packet                 q  ask for: u16 interval, u16 latency, u16 timeout
 *     c  connected   d  disconnected                  p  notify: a packet
 *     m  u16 MTU     n  u8 notifications on           l  u8 light
 *     r  u8 id: read                                  R  u8 answer, then the value
 *     w  u8 id, then the value: write                 W  u8 answer
 *     v  u16 mV of the cell                           o  switched off
 *     k  i16 hundredths of a degree Celsius
 *     x  u8 what, u16 how much: a fault (enum fault)
 */
#ifndef FRAMES_H
#define FRAMES_H

#include <stddef.h>
#include <stdint.h>

enum fault {
    FAULT_PART_SILENT,    /* so many samples cannot be fetched */
    FAULT_PART_DEAD,      /* the part does not start, so many times */
    FAULT_RADIO_BUSY,     /* so many notifications are not taken */
    FAULT_LOOP_LATE,      /* the main loop stands still for so many ms */
    FAULT_RANGES,         /* 1: from the next power-up a part of twice the ranges; 2: of half; 3: without any rate */
    FAULT_CLOCK           /* from the next power-up the clock begins so many seconds before it wraps */
};

/* The byte stream: a byte, or -1 at its end; and bytes out. */
int stream_get(void);
void stream_put(const uint8_t *bytes, size_t length);
void stream_flush(void);

/* Serve frames until the stream ends. */
void frames_serve(void);

#endif
