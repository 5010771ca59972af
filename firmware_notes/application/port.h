/* What a board gives to the application: all it has to be written for a new microcontroller, radio and inertial part.
 *
 * The other way round the board calls the functions of sensor.h: from interrupts only sensor_sample and
 * sensor_sample_missing, everything else from the main loop.
 */
#ifndef PORT_H
#define PORT_H

#include <stddef.h>
#include <stdint.h>

/* Microseconds by the crystal, modulo 2^32; never set back. The ticks of samples are of the same clock. */
uint32_t port_now_us(void);

/* Let the inertial part measure at this rate and in the board's ranges, with its data-ready interrupt on. At each
 * interrupt take port_now_us() at once, fetch the sample, call sensor_sample with both. Returns 0, or -1 when the part
 * does not answer; called again while it measures, the new rate counts. */
int port_part_start(uint16_t rate_hz);
void port_part_stop(void);

/* The inertial part's temperature in hundredths of a degree Celsius, and the cell's voltage under load in mV. */
int16_t port_temperature(void);
uint16_t port_cell_mv(void);

/* The light that a person sees. */
void port_light(int on);

/* Advertise, connectable and scannable, until a central connects: advertising data and scan response as they go on air.
 * Called again while it advertises, the new interval counts. */
void port_advertise(const uint8_t *data, size_t length, const uint8_t *response, size_t response_length,
                    uint16_t interval_ms);

/* Ask the central for these connection parameters: interval in 1.25 ms, latency in events, timeout in 10 ms. */
void port_ask_connection(uint16_t interval, uint16_t latency, uint16_t timeout);

/* Notify the motion characteristic. Returns 1 when the radio has taken it, 0 when it is busy: it is offered again. */
int port_notify(const uint8_t *data, size_t length);

/* The cell is empty: go to the deepest sleep there is, until the charger is plugged in. May return. */
void port_switch_off(void);

#endif
