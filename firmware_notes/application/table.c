#include "table.h"

#include "text.h"

/* b4531e26-7802-44ce-b5b1-b7e45b3fb580 and the numbers after it, last byte first. */
#define OWN(number) {16, {0x80, 0xb5, 0x3f, 0x5b, 0xe4, 0xb7, 0xb1, 0xb5, 0xce, 0x44, 0x02, 0x78, number, 0x1e, 0x53, 0xb4}}
#define ASSIGNED(low, high) {2, {low, high}}

static const struct uuid motion_service = OWN(0x26);
static const struct uuid battery_service = ASSIGNED(0x0f, 0x18);
static const struct uuid information_service = ASSIGNED(0x0a, 0x18);

const struct characteristic table[ATTRIBUTES] = {
    {ATTRIBUTE_MOTION, CAN_NOTIFY, &motion_service, OWN(0x27)},
    {ATTRIBUTE_CONTROL, CAN_READ | CAN_WRITE, &motion_service, OWN(0x28)},
    {ATTRIBUTE_LAYOUT, CAN_READ, &motion_service, OWN(0x29)},
    {ATTRIBUTE_TEMPERATURE, CAN_READ, &motion_service, ASSIGNED(0x6e, 0x2a)},
    {ATTRIBUTE_BATTERY, CAN_READ, &battery_service, ASSIGNED(0x19, 0x2a)},
    {ATTRIBUTE_MODEL, CAN_READ, &information_service, ASSIGNED(0x24, 0x2a)},
    {ATTRIBUTE_SERIAL, CAN_READ, &information_service, ASSIGNED(0x25, 0x2a)},
    {ATTRIBUTE_FIRMWARE, CAN_READ, &information_service, ASSIGNED(0x26, 0x2a)},
};

/* Types of advertising data: Bluetooth SIG, Assigned Numbers, section 2.3. */
#define TYPE_FLAGS 0x01u
#define TYPE_SERVICES 0x07u
#define TYPE_SHORT_NAME 0x08u
#define TYPE_WHOLE_NAME 0x09u
#define TYPE_SERVICE_DATA 0x21u
#define GENERAL_DISCOVERABLE_NO_CLASSIC 0x06u

static size_t put(uint8_t *data, size_t at, uint8_t type, size_t length)
{
    data[at] = (uint8_t)(length + 1u);
    data[at + 1] = type;
    return at + 2;
}

size_t table_advertisement(uint8_t data[ADVERTISING_BYTES], const char *name)
{
    const size_t room = ADVERTISING_BYTES - 3u - 18u - 2u;
    const size_t length = text_length(name);
    const size_t kept = length > room ? text_whole(name, room) : length;
    size_t at;

    at = put(data, 0, TYPE_FLAGS, 1);
    data[at++] = GENERAL_DISCOVERABLE_NO_CLASSIC;
    at = put(data, at, TYPE_SERVICES, motion_service.length);
    at += text_copy(data + at, (const char *)motion_service.bytes, motion_service.length);
    at = put(data, at, length > kept ? TYPE_SHORT_NAME : TYPE_WHOLE_NAME, kept);
    return at + text_copy(data + at, name, kept);
}

size_t table_scan_response(uint8_t data[ADVERTISING_BYTES], const char *serial)
{
    const size_t room = ADVERTISING_BYTES - 2u - 16u;
    const size_t length = text_length(serial);
    const char *end = length > room ? text_letter(serial + length - room) : serial;
    const size_t kept = text_length(end);
    size_t at;

    at = put(data, 0, TYPE_SERVICE_DATA, motion_service.length + kept);
    at += text_copy(data + at, (const char *)motion_service.bytes, motion_service.length);
    return at + text_copy(data + at, end, kept);
}
