#include "battery.h"

#include <stddef.h>

struct point {
    uint16_t mv;
    uint8_t percent;
};

static const struct point curve[] = {
    {BATTERY_EMPTY_MV, 0}, {3600, 5},  {3680, 10}, {3740, 20}, {3770, 30},  {3790, 40},
    {3820, 50},            {3870, 60}, {3920, 70}, {3980, 80}, {4060, 90}, {4180, 100},
};

uint8_t battery_percent(uint16_t cell_mv)
{
    const size_t points = sizeof curve / sizeof curve[0];
    size_t k;

    if (cell_mv <= curve[0].mv) {
        return 0;
    }
    for (k = 1; k < points; k++) {
        if (cell_mv < curve[k].mv) {
            const unsigned over = (unsigned)(cell_mv - curve[k - 1].mv);
            const unsigned step = (unsigned)(curve[k].mv - curve[k - 1].mv);
            const unsigned rise = (unsigned)(curve[k].percent - curve[k - 1].percent);

            return (uint8_t)(curve[k - 1].percent + over * rise / step);
        }
    }
    return 100;
}
