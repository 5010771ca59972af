/* How full a lithium cell is, from its voltage under load. */
#ifndef BATTERY_H
#define BATTERY_H

#include <stdint.h>

#define BATTERY_EMPTY_MV 3300u /* well above what harms a cell, and what common inertial parts stop at */

/* Percent, 0 to 100, by a usual discharge curve (common practice, no source): measure your own cell's. */
uint8_t battery_percent(uint16_t cell_mv);

#endif
