/* One client of a JACK server, with many MIDI ports that come and go while it runs.
 *
 * JACK's process thread moves messages between port buffers and rings (process.c). It never waits for Python, takes no
 * memory and makes no system call but one that wakes the reader. Everything else is called from Python's threads
 * (client.c), without the interpreter's lock where the server is asked.
 */
#ifndef BAYLEAF_JACK_CLIENT_H
#define BAYLEAF_JACK_CLIENT_H

#include "library.h"
#include "ring.h"

enum {
    PORTS_EACH_WAY = 256,
    INPUT_RING = 1 << 18,     /* bytes; a short message takes 24 */
    OUTPUT_RING = 1 << 17,    /* bytes; more than the flow that we ask for lets through in three periods */
    LONG_MESSAGE = 1 << 10,   /* bytes; a longer one is kept beside the ring */
    MOST_KEPT = 1 << 22,      /* bytes that are kept beside one output's ring */
    LATENCY = 2               /* periods from a message's time to its frame: see process.c */
};

/* A message that is kept beside the ring, until the ring's reader is past `end`. */
typedef struct LongMessage {
    struct LongMessage *next;
    uint32_t end;
    uint32_t size;
    unsigned char bytes[];
} LongMessage;

typedef struct {
    _Atomic(void *) port; /* NULL: the process thread leaves it alone */
    Ring ring;
    _Atomic uint32_t lost; /* messages that found no room, here or in the library */
    int taken;             /* Python's */
} Input;

typedef struct {
    _Atomic(void *) port;
    Ring ring;
    _Atomic uint32_t busy_in; /* the last cycle in which it sent something */
    _Atomic uint32_t lost;    /* messages that the library refused */
    uint32_t begun;           /* the process thread's: bytes of the oldest message that earlier periods have taken */
    int silent;               /* the process thread's: cycles since it had something in its buffer */
    LongMessage *first, *last; /* Python's */
    uint32_t kept;             /* Python's: bytes in that list */
    int taken;                 /* Python's */
} Output;

typedef struct {
    void *jack;
    int wake_fd;                  /* an eventfd */
    _Atomic int listening;        /* the reader waits at the eventfd, or is about to */
    _Atomic int heard;            /* something has come since the reader last waited */
    _Atomic int died;
    _Atomic int noticing;         /* the library's thread that brings its notices; 0 before the first */
    _Atomic uint32_t changes;     /* ports that came or went, connections made or parted, losses; and the server's end */
    _Atomic uint32_t entered;     /* cycles that the process thread has begun */
    _Atomic uint32_t cycles;      /* and those it has finished */
    _Atomic uint32_t missed;      /* periods that passed without one */
    _Atomic int64_t period_ns;
    Frames next_frame;            /* the process thread's: the next cycle's first frame, by the server's count */
    int counting;                 /* the process thread's: whether that is known */
    int64_t began, least_delay;   /* the process thread's: when the last cycle did, by CLOCK_MONOTONIC (ns) */
    int delays;                   /* the process thread's: cycles of which that is the least delay */
    Frames frames;                /* the process thread's: how many the last cycle had */
    Frames rate;
    _Atomic int inputs_used, outputs_used; /* places that have ever been used */
    int users;                        /* Python's, as the next two: calls that are under way without its lock */
    int orphaned;                     /* the last of them closes the client */
    char closing[2 * PORTS_EACH_WAY]; /* ports that nothing may be sent to, or read from, any more */
    Input inputs[PORTS_EACH_WAY];
    Output outputs[PORTS_EACH_WAY];
} Client;

int64_t monotonic_ns(void);

/* Wake whoever waits in `client_wait`, now or at its next call. Any thread. */
void client_rouse(Client *client);
/* Wait until a message has come, the server has ended or somebody rouses us; at most this long (ns). One thread. */
void client_wait(Client *client, int64_t ns);

/* What JACK's process thread calls. */
int client_process(Frames frames, void *client);

/* Join the running server; NULL, with a sentence in `wrong`. The client runs at once, without ports. */
Client *client_open(const char *name, const char **wrong);
/* Leave the server with all ports, once they have passed on their last messages, and give all memory back. The server
 * must not be frozen. */
void client_close(Client *client);

/* Ports go by place: inputs from 0, outputs from PORTS_EACH_WAY. Opening gives -1 if it is refused. */
int client_open_port(Client *client, int is_output, const char *name);
/* Returns once the process thread is out of the port, or -1 if that takes too long; its memory is then kept. */
int client_close_port(Client *client, int place);
void *client_port(Client *client, int place);

/* One thread for each output: queue a message for its frame, as soon as may be if `at` is 0; 0, or -1 if it is full. */
int client_send(Output *output, int64_t at, const unsigned char *bytes, uint32_t size);

#endif
