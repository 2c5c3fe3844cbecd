#define _GNU_SOURCE
#include "line.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pty.h>
#include <stdio.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#define SETTLE_US 100000 /* a host that opens a port then throws away what it finds there */

static bool open_terminal(struct line *line)
{
    struct termios raw;

    line->is_terminal = true;
    memset(&raw, 0, sizeof raw);
    cfmakeraw(&raw);
    if (openpty(&line->descriptor, &line->keeper, line->name, &raw, NULL) != 0) {
        return false;
    }
    return fcntl(line->descriptor, F_SETFL, O_NONBLOCK) == 0;
}

bool line_open(struct line *line, const char *path)
{
    memset(line, 0, sizeof *line);
    line->keeper = -1;
    if (path == NULL) {
        return open_terminal(line);
    }
    line->descriptor = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
    return line->descriptor >= 0;
}

void line_close(struct line *line)
{
    close(line->descriptor);
    if (line->keeper >= 0) {
        close(line->keeper);
    }
}

void line_await_host(struct line *line)
{
    struct pollfd host = {.fd = line->descriptor, .events = POLLOUT};

    if (!line->is_terminal) {
        return;
    }
    if (line->keeper >= 0) {
        close(line->keeper);
        line->keeper = -1;
    }
    while (poll(&host, 1, -1) > 0 && (host.revents & POLLHUP) != 0) {
        usleep(SETTLE_US / 10);
    }
    usleep(SETTLE_US);
}

static void put(struct line *line, uint8_t byte)
{
    struct pollfd ready = {.fd = line->descriptor, .events = POLLOUT};

    while (write(line->descriptor, &byte, 1) != 1) {
        if (errno != EAGAIN && errno != EINTR) {
            return; /* the host hung up: on a real line the byte would be lost as well */
        }
        poll(&ready, 1, 100);
    }
}

void line_send(struct line *line, uint8_t byte)
{
    line->sent++;
    if (line->swallow > 0) {
        line->swallow--;
        return;
    }
    if (line->spoil > 0) {
        line->spoil--;
        byte ^= 0x10;
    }
    put(line, byte);
}

void line_noise(struct line *line, const uint8_t *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        put(line, bytes[i]);
    }
}

int line_receive(struct line *line)
{
    uint8_t byte;

    if (!line->is_terminal || read(line->descriptor, &byte, 1) != 1) {
        return -1;
    }
    return byte;
}
