/* What Python's threads ask of the client: see client.h. */
#include "client.h"

#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

enum {
    SECOND = 1000000000,
    LOOK_AGAIN = 200000,  /* ns between two looks at what the process thread has done */
    REST_FIRST = 8,       /* periods that the last messages of an output may take before it is closed */
    PASSED_ON = 2         /* cycles after which the others have read what was sent */
};

int64_t monotonic_ns(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return now.tv_sec * (int64_t)SECOND + now.tv_nsec;
}

/* The reader first says that it listens and then looks whether it has heard; we do it the other way round. So one of
 * the two sees the other, and no message waits for the next one. */
void client_rouse(Client *client) {
    uint64_t one = 1;
    atomic_store(&client->heard, 1);
    if (atomic_exchange(&client->listening, 0) && write(client->wake_fd, &one, sizeof one) < 0) return;
}

void client_wait(Client *client, int64_t ns) {
    uint64_t count;
    struct pollfd line = {client->wake_fd, POLLIN, 0};
    struct timespec span = {(time_t)(ns / SECOND), (long)(ns % SECOND)};
    atomic_store(&client->listening, 1);
    if (!atomic_load(&client->heard) && ppoll(&line, 1, &span, NULL) < 0) return;
    atomic_store(&client->listening, 0);
    if (read(client->wake_fd, &count, sizeof count) < 0) count = 0; /* nothing to read is no fault */
    atomic_store(&client->heard, 0);
}

static void note_change(Client *client) {
    if (!atomic_load(&client->noticing)) atomic_store(&client->noticing, (int)syscall(SYS_gettid));
    atomic_fetch_add(&client->changes, 1);
    client_rouse(client);
}

static void on_end(void *argument) {
    Client *client = argument;
    atomic_store(&client->died, 1);
    note_change(client);
}

/* Any port, not ours alone: what is looked for may have come. */
static void on_port(uint32_t port, int there, void *argument) {
    (void)port, (void)there;
    note_change(argument);
}

static void on_connection(uint32_t from, uint32_t to, int there, void *argument) {
    (void)from, (void)to, (void)there;
    note_change(argument);
}

static void on_rename(uint32_t port, const char *before, const char *after, void *argument) {
    (void)port, (void)before, (void)after;
    note_change(argument);
}

static int start(Client *client) {
    client->rate = jack.get_sample_rate(client->jack);
    atomic_store(&client->period_ns, (int64_t)jack.get_buffer_size(client->jack) * SECOND / client->rate);
    jack.on_shutdown(client->jack, on_end, client);
    return jack.set_process_callback(client->jack, client_process, client) ||
           jack.set_port_registration_callback(client->jack, on_port, client) ||
           jack.set_port_connect_callback(client->jack, on_connection, client) ||
           jack.set_port_rename_callback(client->jack, on_rename, client) || jack.activate(client->jack);
}

Client *client_open(const char *name, const char **wrong) {
    int status = 0;
    Client *client = aligned_alloc(_Alignof(Client), sizeof *client);
    *wrong = "there is no memory left";
    if (!client) return NULL;
    memset(client, 0, sizeof *client);
    client->wake_fd = eventfd(0, EFD_NONBLOCK | EFD_CLOEXEC);
    *wrong = "there is no file descriptor left";
    if (client->wake_fd >= 0) {
        *wrong = "the JACK server is not running";
        client->jack = jack.client_open(name, NO_START_SERVER, &status);
        if (client->jack && !start(client)) return client;
    }
    client_close(client);
    return NULL;
}

static void forget_messages(Output *output, int all) {
    uint32_t read = all ? 0 : atomic_load(&output->ring.read);
    while (output->first && (all || (int32_t)(read - output->first->end) >= 0)) {
        LongMessage *message = output->first;
        output->first = message->next;
        output->kept -= message->size;
        free(message);
    }
    if (!output->first) output->last = NULL;
}

static void free_place(Client *client, int place) {
    if (place < PORTS_EACH_WAY) {
        ring_free(&client->inputs[place].ring);
        client->inputs[place].taken = 0;
        return;
    }
    Output *output = &client->outputs[place - PORTS_EACH_WAY];
    forget_messages(output, 1);
    ring_free(&output->ring);
    output->taken = 0;
}

static void look_later(void) {
    struct timespec span = {0, LOOK_AGAIN};
    nanosleep(&span, NULL);
}

static int64_t rest_until(Client *client) { return monotonic_ns() + REST_FIRST * atomic_load(&client->period_ns); }

/* Let the process thread pass on what waits here: closing at once would lose the last releases. */
static void wait_until_sent(Client *client, Output *output, int64_t end) {
    while (!atomic_load(&client->died) && monotonic_ns() < end) {
        uint32_t since = atomic_load(&client->cycles) - atomic_load(&output->busy_in);
        if (!ring_used(&output->ring) && (int32_t)since >= PASSED_ON) return;
        look_later();
    }
}

void client_close(Client *client) {
    int64_t end = rest_until(client);
    for (int number = 0; number < PORTS_EACH_WAY; number++) {
        Output *output = &client->outputs[number];
        if (atomic_load(&output->port)) wait_until_sent(client, output, end);
    }
    if (client->jack) jack.client_close(client->jack);
    for (int place = 0; place < 2 * PORTS_EACH_WAY; place++) free_place(client, place);
    if (client->wake_fd >= 0) close(client->wake_fd);
    free(client);
}

void *client_port(Client *client, int place) {
    if (place < 0 || place >= 2 * PORTS_EACH_WAY) return NULL;
    if (place < PORTS_EACH_WAY) return atomic_load(&client->inputs[place].port);
    return atomic_load(&client->outputs[place - PORTS_EACH_WAY].port);
}

/* Ports, which one thread at a time opens and closes */

static int open_input(Client *client, void *port) {
    int number = 0;
    while (number < PORTS_EACH_WAY && client->inputs[number].taken) number++;
    if (number == PORTS_EACH_WAY) return -1;
    Input *input = &client->inputs[number];
    if (ring_make(&input->ring, INPUT_RING)) return -1;
    input->taken = 1;
    atomic_store(&input->lost, 0);
    atomic_store(&input->port, port);
    if (number == atomic_load(&client->inputs_used)) atomic_store(&client->inputs_used, number + 1);
    return number;
}

static int open_output(Client *client, void *port) {
    int number = 0;
    while (number < PORTS_EACH_WAY && client->outputs[number].taken) number++;
    if (number == PORTS_EACH_WAY) return -1;
    Output *output = &client->outputs[number];
    if (ring_make(&output->ring, OUTPUT_RING)) return -1;
    output->taken = 1;
    output->begun = 0;
    output->silent = 0;
    atomic_store(&output->lost, 0);
    atomic_store(&output->busy_in, atomic_load(&client->cycles) - PASSED_ON);
    atomic_store(&output->port, port);
    if (number == atomic_load(&client->outputs_used)) atomic_store(&client->outputs_used, number + 1);
    return PORTS_EACH_WAY + number;
}

int client_open_port(Client *client, int is_output, const char *name) {
    void *port = jack.port_register(client->jack, name, MIDI_TYPE, is_output ? PORT_IS_OUTPUT : PORT_IS_INPUT, 0);
    if (!port) return -1;
    int place = is_output ? open_output(client, port) : open_input(client, port);
    if (place < 0) jack.port_unregister(client->jack, port);
    return place;
}

/* A cycle that begins from now on does not see the port; wait for the end of one that may have begun before. */
static int wait_until_out(Client *client) {
    uint32_t begun = atomic_load(&client->entered);
    int64_t end = monotonic_ns() + SECOND;
    while ((int32_t)(atomic_load(&client->cycles) - begun) < 0) {
        if (monotonic_ns() > end) return -1;
        look_later();
    }
    return 0;
}

/* Whether this thread waits for something, or has ended (proc(5)): it neither runs nor would like to. */
static int rests(int thread) {
    char path[40], state = 0;
    snprintf(path, sizeof path, "/proc/self/task/%d/stat", thread);
    FILE *file = fopen(path, "r");
    if (!file) return 1;
    if (fscanf(file, "%*d (%*[^)]) %c", &state) != 1) state = 0;
    fclose(file);
    return state != 'R' && state != 'D';
}

/* In the thread that brings its notices the library goes through the list of our ports, without a lock (jack2,
 * JackClient::HandleLatencyCallback), and unregistering takes one out of it. If that thread has lost the processor just
 * there, the process crashes. So see it at rest first. */
static void wait_for_notices(Client *client) {
    int thread = atomic_load(&client->noticing);
    int64_t end = monotonic_ns() + SECOND;
    while (thread && !rests(thread) && monotonic_ns() < end) look_later();
}

int client_close_port(Client *client, int place) {
    int is_output = place >= PORTS_EACH_WAY;
    _Atomic(void *) *where = is_output ? &client->outputs[place - PORTS_EACH_WAY].port : &client->inputs[place].port;
    if (is_output) wait_until_sent(client, &client->outputs[place - PORTS_EACH_WAY], rest_until(client));
    void *port = atomic_exchange(where, NULL);
    int out = wait_until_out(client);
    if (port && !out && !atomic_load(&client->died)) {
        wait_for_notices(client);
        jack.port_unregister(client->jack, port);
    }
    if (!out) free_place(client, place);
    return out;
}

/* Sending */

static int send_long(Output *output, const RecordHead *head, const unsigned char *bytes) {
    if (output->kept + head->size > MOST_KEPT) return -1;
    LongMessage *message = malloc(sizeof *message + head->size);
    if (!message) return -1;
    memcpy(message->bytes, bytes, head->size);
    if (ring_put(&output->ring, head, &message, sizeof message)) {
        free(message);
        return -1;
    }
    message->next = NULL;
    message->size = head->size;
    message->end = atomic_load(&output->ring.written);
    output->kept += head->size;
    if (output->last) output->last->next = message;
    else output->first = message;
    output->last = message;
    return 0;
}

int client_send(Output *output, int64_t at, const unsigned char *bytes, uint32_t size) {
    RecordHead head = {at, size, size > LONG_MESSAGE};
    if (output->first) forget_messages(output, 0);
    return head.kept ? send_long(output, &head, bytes) : ring_put(&output->ring, &head, bytes, size);
}
