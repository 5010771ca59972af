/* Services, characteristics and advertising of the GATT profile (../gatt_profile.md), for whatever stack there is. */
#ifndef TABLE_H
#define TABLE_H

#include <stddef.h>
#include <stdint.h>

enum attribute {
    ATTRIBUTE_MOTION,
    ATTRIBUTE_CONTROL,
    ATTRIBUTE_LAYOUT,
    ATTRIBUTE_TEMPERATURE,
    ATTRIBUTE_BATTERY,
    ATTRIBUTE_MODEL,
    ATTRIBUTE_SERIAL,
    ATTRIBUTE_FIRMWARE,
    ATTRIBUTES
};

/* Properties of a characteristic: Bluetooth Core Specification, Vol 3, Part G, 3.3.1.1. */
#define CAN_READ 0x02u
#define CAN_WRITE 0x08u
#define CAN_NOTIFY 0x10u

struct uuid {
    uint8_t length;    /* 2 or 16 */
    uint8_t bytes[16]; /* little endian, as on air */
};

struct characteristic {
    uint8_t id;         /* enum attribute; rows stand in its order */
    uint8_t properties; /* all are open: no pairing, no encryption */
    const struct uuid *service;
    struct uuid uuid;
};

extern const struct characteristic table[ATTRIBUTES];

#define TABLE_LAYOUT "house/1"
#define ADVERTISING_BYTES 31u

/* Flags, motion service, and the name, shortened to what fits. Returns the length. */
size_t table_advertisement(uint8_t data[ADVERTISING_BYTES], const char *name);

/* The serial number, or as much of its end as fits, in whole letters of UTF-8. Returns the length. */
size_t table_scan_response(uint8_t data[ADVERTISING_BYTES], const char *serial);

#endif
