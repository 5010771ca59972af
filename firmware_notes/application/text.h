/* The little of a C library that is needed, and where letters of UTF-8 begin. */
#ifndef TEXT_H
#define TEXT_H

#include <stddef.h>
#include <stdint.h>

size_t text_length(const char *text);

/* Copy so many bytes; returns how many. */
size_t text_copy(uint8_t *to, const char *from, size_t length);

/* The first letter that begins here or later. */
const char *text_letter(const char *text);

/* How many of the first `room` bytes are whole letters; the text is longer than that. */
size_t text_whole(const char *text, size_t room);

#endif
