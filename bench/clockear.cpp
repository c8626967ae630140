// Listener of part `onjack`: one JACK client that notes the frame of each clock.
//
//     clockear NAME SECONDS
//
// Joins the port whose name contains NAME and ends in "out0", listens, and prints the server's rate and the frame of
// each clock, one a line: frames of the server's own count, so that its wake-ups are in no figure. A -1 among them: the
// count jumped or stood still, since the server or this listener missed a period.

#include <jack/jack.h>
#include <jack/midiport.h>
#include <unistd.h>

#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <string>

static jack_client_t *client;
static jack_port_t *port;
static long frames_of[1 << 16];
static std::atomic<size_t> count{0};

static void note(long frame) {
    if (count < sizeof frames_of / sizeof *frames_of) frames_of[count++] = frame;
}

static int hear(jack_nframes_t frames, void *) {
    static jack_nframes_t next;
    static jack_time_t called;
    const jack_time_t now = jack_get_time(), period = 1000000ULL * frames / jack_get_sample_rate(client);
    void *buffer = jack_port_get_buffer(port, frames);
    const jack_nframes_t begin = jack_last_frame_time(client);
    if (next && (begin != next || now - called > 2 * period)) note(-1);
    next = begin + frames;
    called = now;
    for (uint32_t e = 0; e < jack_midi_get_event_count(buffer); e++) {
        jack_midi_event_t event;
        if (jack_midi_event_get(&event, buffer, e) || event.size != 1 || event.buffer[0] != 0xF8) continue;
        note(begin + event.time);
    }
    return 0;
}

static std::string found(const std::string &name) {
    for (int tries = 0; tries < 600; tries++, usleep(50000)) {
        std::string wanted;
        const char **ports = jack_get_ports(client, nullptr, JACK_DEFAULT_MIDI_TYPE, JackPortIsOutput);
        for (const char **one = ports; one && *one; one++) {
            const std::string each = *one;
            if (each.find(name) != std::string::npos && each.size() > 5 && !each.compare(each.size() - 5, 5, ":out0"))
                wanted = each;
        }
        jack_free(ports);
        if (!wanted.empty()) return wanted;
    }
    std::exit((std::fprintf(stderr, "no port of %s appeared\n", name.c_str()), 1));
}

int main(int, char **arguments) {
    client = jack_client_open("clockear", JackNoStartServer, nullptr);
    if (!client) return 1;
    port = jack_port_register(client, "in", JACK_DEFAULT_MIDI_TYPE, JackPortIsInput, 0);
    jack_set_process_callback(client, hear, nullptr);
    jack_activate(client);
    jack_connect(client, found(arguments[1]).c_str(), jack_port_name(port));
    usleep(useconds_t(std::atof(arguments[2]) * 1e6));
    const size_t heard = count;
    std::printf("%u\n", jack_get_sample_rate(client));
    for (size_t i = 0; i < heard; i++) std::printf("%ld\n", frames_of[i]);
    jack_client_close(client);
    return 0;
}
