/* In place of JACK's library: one client whose cycles a test makes by hand. Compiled with the client's own C files. */
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "client.h"

enum { PORTS = 8, EVENTS = 4096, ROOM = 1 << 16, TURNS = 3 };

typedef struct {
    int count;
    uint32_t lost;
    size_t used;
    MidiEvent events[EVENTS];
    unsigned char bytes[ROOM];
} Buffer;

typedef struct {
    int there;
    Buffer buffers[TURNS];
} Port;

static Port ports[PORTS];
static int turns = 1, cycles; /* each port has that many buffers, which take turns with the cycles */
static size_t room = ROOM; /* of each port's buffer, in bytes */
static uint64_t start_us;
static int (*process)(Frames, void *);
static void *client_argument;

static void *client_open_(const char *name, int options, int *status, ...) {
    (void)name, (void)options;
    *status = 0;
    memset(ports, 0, sizeof ports);
    return ports;
}
static int client_close_(void *client) { return client != ports; }
static int activate(void *client) { return client != ports; }
static int set_process(void *client, int (*call)(Frames, void *), void *argument) {
    process = call;
    client_argument = argument;
    return client != ports;
}
static int set_ports(void *client, void (*call)(uint32_t, int, void *), void *argument) {
    (void)call, (void)argument;
    return client != ports;
}
static int set_connections(void *client, void (*call)(uint32_t, uint32_t, int, void *), void *argument) {
    (void)call, (void)argument;
    return client != ports;
}
static int set_names(void *client, void (*call)(uint32_t, const char *, const char *, void *), void *argument) {
    (void)call, (void)argument;
    return client != ports;
}
static void on_shutdown(void *client, void (*call)(void *), void *argument) {
    (void)client, (void)call, (void)argument;
}
static void *port_register(void *client, const char *name, const char *type, unsigned long flags, unsigned long size) {
    (void)client, (void)name, (void)type, (void)flags, (void)size;
    for (Port *port = ports; port < ports + PORTS; port++) {
        if (port->there) continue;
        memset(port, 0, sizeof *port);
        port->there = 1;
        return port;
    }
    return NULL;
}
static int port_unregister(void *client, void *port) {
    ((Port *)port)->there = 0;
    return client != ports;
}
static void *buffer_of(void *port) { return &((Port *)port)->buffers[cycles % turns]; }
static void *port_get_buffer(void *port, Frames frames) {
    (void)frames;
    return buffer_of(port);
}
static Frames event_count(void *buffer) { return (Frames)((Buffer *)buffer)->count; }
static int event_get(MidiEvent *event, void *buffer, uint32_t number) {
    *event = ((Buffer *)buffer)->events[number];
    return 0;
}
static uint32_t lost_event_count(void *buffer) { return ((Buffer *)buffer)->lost; }
static void clear_buffer(void *buffer) {
    Buffer *emptied = buffer;
    emptied->count = 0;
    emptied->lost = 0;
    emptied->used = 0;
}
static size_t max_event_size(void *buffer) { return room - ((Buffer *)buffer)->used; }
static unsigned char *event_reserve(void *buffer, Frames frame, size_t size) {
    Buffer *written = buffer;
    if (size > max_event_size(buffer) || written->count == EVENTS) return NULL;
    if (written->count && written->events[written->count - 1].time > frame) return NULL;
    MidiEvent *event = &written->events[written->count++];
    *event = (MidiEvent){frame, size, written->bytes + written->used};
    written->used += size;
    return event->buffer;
}
static Frames sample_rate(void *client) { return client ? 48000 : 0; }
static Frames buffer_size(void *client) { return client ? 64 : 0; }
/* The system's clock, too, is the test's: it stands still within a cycle, and goes on whenever somebody looks else. */
static int64_t now_ns;
static int in_cycle;
int fake_clock_gettime(clockid_t clock, struct timespec *time) {
    (void)clock;
    now_ns += in_cycle ? 0 : 50000;
    *time = (struct timespec){now_ns / 1000000000, now_ns % 1000000000};
    return 0;
}
static Frames since_start; /* when we are called */
static Frames frames_since_cycle_start(const void *client) {
    (void)client;
    return since_start;
}
static Frames last_frame_time(const void *client) {
    (void)client;
    return (Frames)((start_us * 48 + 500) / 1000);
}

JackLibrary jack = {
    .client_open = client_open_,
    .client_close = client_close_,
    .activate = activate,
    .set_process_callback = set_process,
    .set_port_registration_callback = set_ports,
    .set_port_connect_callback = set_connections,
    .set_port_rename_callback = set_names,
    .on_shutdown = on_shutdown,
    .port_register = port_register,
    .port_unregister = port_unregister,
    .port_get_buffer = port_get_buffer,
    .midi_get_event_count = event_count,
    .midi_event_get = event_get,
    .midi_get_lost_event_count = lost_event_count,
    .midi_clear_buffer = clear_buffer,
    .midi_event_reserve = event_reserve,
    .midi_max_event_size = max_event_size,
    .get_sample_rate = sample_rate,
    .get_buffer_size = buffer_size,
    .last_frame_time = last_frame_time,
    .frames_since_cycle_start = frames_since_cycle_start,
};

/* What a test calls */

void fake_room(size_t bytes) { room = bytes; }
void fake_turns(int buffers) { turns = buffers; }
/* A cycle that begins at `us`; the server awakes `late` us after that, and calls us another `delay` us later. */
void fake_cycle(uint64_t us, int64_t late, int64_t delay) {
    start_us = us;
    since_start = (Frames)(delay * 48 / 1000);
    now_ns = ((int64_t)us + late + delay) * 1000;
    cycles++;
    in_cycle = 1;
    process(64, client_argument);
    in_cycle = 0;
}
void fake_clear(Client *client, int place) { clear_buffer(buffer_of(client_port(client, place))); }
void fake_lose(Client *client, int place) { ((Buffer *)buffer_of(client_port(client, place)))->lost++; }
int fake_play(Client *client, int place, Frames frame, const unsigned char *bytes, size_t size) {
    unsigned char *to = event_reserve(buffer_of(client_port(client, place)), frame, size);
    if (to) memcpy(to, bytes, size);
    return to != NULL;
}
/* The size of this event of an output's last cycle, or -1 if there is none. */
long fake_heard(Client *client, int place, int number, Frames *frame, unsigned char *bytes) {
    Buffer *left = buffer_of(client_port(client, place));
    if (number >= left->count) return -1;
    *frame = left->events[number].time;
    memcpy(bytes, left->events[number].buffer, left->events[number].size);
    return (long)left->events[number].size;
}
int fake_send(Client *client, int place, int64_t at, const unsigned char *bytes, uint32_t size) {
    return client_send(&client->outputs[place - PORTS_EACH_WAY], at, bytes, size);
}
/* The size of what an input has brought, or -1; its time. */
long fake_read(Client *client, int place, int64_t *at, unsigned char *bytes) {
    RecordHead head;
    Ring *ring = &client->inputs[place].ring;
    if (!ring_peek(ring, &head)) return -1;
    ring_copy(ring, 0, bytes, head.size);
    ring_drop(ring, head.size);
    *at = head.at;
    return (long)head.size;
}
uint32_t fake_lost(Client *client, int place) {
    return place < PORTS_EACH_WAY ? client->inputs[place].lost : client->outputs[place - PORTS_EACH_WAY].lost;
}
uint32_t fake_missed(Client *client) { return client->missed; }
uint32_t fake_kept(Client *client, int place) { return client->outputs[place - PORTS_EACH_WAY].kept; }
