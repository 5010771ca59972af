#include "text.h"

size_t text_length(const char *text)
{
    size_t length = 0;

    while (text[length] != '\0') {
        length++;
    }
    return length;
}

size_t text_copy(uint8_t *to, const char *from, size_t length)
{
    size_t k;

    for (k = 0; k < length; k++) {
        to[k] = (uint8_t)from[k];
    }
    return length;
}

static int goes_on(char byte)
{
    return ((unsigned char)byte & 0xC0u) == 0x80u;
}

const char *text_letter(const char *text)
{
    while (goes_on(*text)) {
        text++;
    }
    return text;
}

size_t text_whole(const char *text, size_t room)
{
    while (room > 0 && goes_on(text[room])) {
        room--;
    }
    return room;
}
