/* The sensor as a process on a desktop computer: frames over standard input and output. */
#include "frames.h"

#include <stdio.h>

int stream_get(void)
{
    return getchar();
}

void stream_put(const uint8_t *bytes, size_t length)
{
    if (length > 0) {
        (void)fwrite(bytes, 1, length, stdout);
    }
}

void stream_flush(void)
{
    (void)fflush(stdout);
}

int main(void)
{
    frames_serve();
    return 0;
}
