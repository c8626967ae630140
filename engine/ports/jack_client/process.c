/* What happens in each period, in JACK's process thread: see client.h.
 *
 * A message's frame stands for a time, and is kept on its way. What a cycle finds at a frame of an input's buffer came
 * during the period before, so it is stamped a period before that frame's own time. What is sent at a time leaves two
 * periods after it: that is the same frame of the next cycle for a message that is answered within its cycle, and
 * leaves a period to whatever Python does. What comes too late for its frame leaves at once.
 */
#include "client.h"

#include <string.h>

enum {
    LEAST_PIECE = 64, /* bytes: a smaller piece of a SysEx waits for the next period */
    TOO_FAR = 1000,   /* ms: a later time than that is a mistake, and counts as now */
    MANY = 64,        /* cycles, of which one is in time unless all are late */
    BUFFERS = 8       /* of an output at most: a server may take turns with some */
};

typedef struct {
    Frames frames;
    int64_t start;   /* ns of CLOCK_MONOTONIC */
    double frame_ns;
} Cycle;

/* The whole number nearest to one that is not negative. */
static int64_t nearest(double value) { return (int64_t)(value + 0.5); }

/* When the server awoke for this cycle: some moments before we are called, which depends on other programs. The clock
 * is read last, so that a thread that loses the processor here believes in a later time, never in an earlier one. */
static int64_t server_awoke(const Client *client, double frame_ns) {
    Frames since = jack.frames_since_cycle_start(client->jack);
    return monotonic_ns() - nearest(since * frame_ns);
}

/* When this cycle began. That is a period after the one before, and the server awakes then or later, never earlier. It
 * filters these times itself, but when it has missed some they are milliseconds wrong, for seconds. So we go by those
 * that come earlier than expected, by the earliest of many that all come later, and by one that comes a period later,
 * since the server stood still then. */
static void find_beginning(Client *client, int64_t awoke, int64_t period, int missed) {
    int64_t delay = awoke - client->began - period;
    client->began += period;
    if (missed || delay < 0 || delay > period) {
        client->began = awoke;
        client->delays = 0;
        return;
    }
    if (!client->delays++ || delay < client->least_delay) client->least_delay = delay;
    if (client->delays < MANY) return;
    client->began += client->least_delay;
    client->delays = 0;
}

static Cycle this_cycle(Client *client, Frames frames) {
    double frame_ns = 1e9 / client->rate;
    Frames current = jack.last_frame_time(client->jack), gap = current - client->next_frame;
    if (client->counting && gap && gap < 1u << 31) atomic_fetch_add(&client->missed, (gap + frames - 1) / frames);
    find_beginning(client, server_awoke(client, frame_ns), nearest(frame_ns * frames), !client->counting || gap);
    client->counting = 1;
    client->next_frame = current + frames;
    return (Cycle){frames, client->began, frame_ns};
}

/* 1 if something came, 2 if something was lost, 3 if both. */
static int receive(Input *input, void *port, const Cycle *cycle) {
    void *buffer = jack.port_get_buffer(port, cycle->frames);
    Frames count = jack.midi_get_event_count(buffer);
    uint32_t lost = jack.midi_get_lost_event_count(buffer);
    int64_t period_before = cycle->start - nearest(cycle->frame_ns * cycle->frames);
    for (Frames number = 0; number < count; number++) {
        MidiEvent event;
        if (jack.midi_event_get(&event, buffer, number)) continue;
        RecordHead head = {period_before + nearest(event.time * cycle->frame_ns), (uint32_t)event.size, 0};
        if (ring_put(&input->ring, &head, event.buffer, head.size)) lost++;
    }
    if (lost) atomic_fetch_add(&input->lost, lost);
    return (count ? 1 : 0) | (lost ? 2 : 0);
}

/* The frame of this cycle at which a message of this time leaves: 0 if it is late, `frames` or more if it is early. */
static Frames frame_of(int64_t at, const Cycle *cycle) {
    if (!at) return 0;
    int64_t ahead = at - cycle->start;
    if (ahead > TOO_FAR * 1000000LL) return 0;
    double frame = (double)ahead / cycle->frame_ns + (double)LATENCY * cycle->frames;
    return frame > 0 ? (Frames)nearest(frame) : 0;
}

/* Copy this many bytes of the oldest message, from where earlier periods have stopped. */
static void copy_piece(Output *output, const RecordHead *head, unsigned char *to, uint32_t size) {
    if (!head->kept) {
        ring_copy(&output->ring, output->begun, to, size);
        return;
    }
    LongMessage *message;
    ring_copy(&output->ring, 0, &message, sizeof message);
    memcpy(to, message->bytes + output->begun, size);
}

static void finish(Output *output, const RecordHead *head) {
    output->begun = 0;
    ring_drop(&output->ring, head->kept ? sizeof(LongMessage *) : head->size);
}

/* How many bytes of the oldest message this period takes: all that are left, as much of a SysEx as fits into an empty
 * buffer, or 0 if it has to wait for the next period. */
static uint32_t piece_for(const Output *output, const RecordHead *head, void *buffer, int fresh) {
    uint32_t left = head->size - output->begun;
    size_t room = jack.midi_max_event_size(buffer);
    if (left <= room) return left;
    return fresh && room >= LEAST_PIECE ? (uint32_t)room : 0;
}

/* Send the oldest message, or a piece of it; 1 if the next one may follow in this period. */
static int send_oldest(Output *output, const RecordHead *head, void *buffer, Frames frame, int fresh) {
    uint32_t size = piece_for(output, head, buffer, fresh);
    unsigned char *place = size ? jack.midi_event_reserve(buffer, frame, size) : NULL;
    if (!place) {
        if (!fresh) return 0;
        atomic_fetch_add(&output->lost, 1); /* not even an empty buffer takes it */
        finish(output, head);
        return 1;
    }
    copy_piece(output, head, place, size);
    output->begun += size;
    if (output->begun < head->size) return 0;
    finish(output, head);
    return 1;
}

/* Most outputs are silent most of the time. Buffers that were cleared and not written to since then are still empty, and
 * touching them all in each period would be a good part of what we cost at rest. */
static void send(Output *output, void *port, const Cycle *cycle, uint32_t number) {
    if (output->silent >= BUFFERS && !ring_used(&output->ring)) return;
    void *buffer = jack.port_get_buffer(port, cycle->frames);
    jack.midi_clear_buffer(buffer);
    Frames last = 0;
    int fresh = 1;
    RecordHead head;
    if (ring_used(&output->ring)) atomic_store(&output->busy_in, number); /* before it is seen to be empty */
    while (ring_peek(&output->ring, &head)) {
        Frames frame = frame_of(head.at, cycle);
        if (frame >= cycle->frames && !output->begun) break;
        if (frame < last || output->begun) frame = last; /* frames never go back within a buffer */
        if (!send_oldest(output, &head, buffer, frame, fresh)) break;
        last = frame;
        fresh = 0;
    }
    output->silent = jack.midi_get_event_count(buffer) ? 0 : output->silent + 1;
}

int client_process(Frames frames, void *argument) {
    Client *client = argument;
    uint32_t number = atomic_fetch_add(&client->entered, 1) + 1;
    Cycle cycle = this_cycle(client, frames);
    atomic_store(&client->period_ns, nearest(cycle.frame_ns * frames));
    int heard = 0, resized = frames != client->frames, used = atomic_load(&client->inputs_used);
    client->frames = frames;
    for (int place = 0; place < used; place++) {
        void *port = atomic_load(&client->inputs[place].port);
        if (port) heard |= receive(&client->inputs[place], port, &cycle);
    }
    used = atomic_load(&client->outputs_used);
    for (int place = 0; place < used; place++) {
        void *port = atomic_load(&client->outputs[place].port);
        if (resized) client->outputs[place].silent = 0;
        if (port) send(&client->outputs[place], port, &cycle, number);
    }
    atomic_store(&client->cycles, number);
    if (heard & 2) atomic_fetch_add(&client->changes, 1);
    if (heard) client_rouse(client);
    return 0;
}
