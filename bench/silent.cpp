// The least that a JACK client of part `onjack` costs: as many ports, and a cycle in which it does nothing.
//
//     silent NAME INPUTS OUTPUTS
//
// What it uses is the library's and the kernel's: once a period they wake it, and it wakes the next client.

#include <jack/jack.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <string>

static int idle(jack_nframes_t, void *) { return 0; }

static void make(jack_client_t *client, const char *name, int count, JackPortFlags way) {
    for (int number = 0; number < count; number++)
        jack_port_register(client, (name + std::to_string(number)).c_str(), JACK_DEFAULT_MIDI_TYPE, way, 0);
}

int main(int, char **arguments) {
    jack_client_t *client = jack_client_open(arguments[1], JackNoStartServer, nullptr);
    if (!client) return std::fprintf(stderr, "there is no JACK server\n"), 1;
    jack_set_process_callback(client, idle, nullptr);
    make(client, "in", std::atoi(arguments[2]), JackPortIsInput);
    make(client, "out", std::atoi(arguments[3]), JackPortIsOutput);
    jack_activate(client);
    for (;;) pause();
}
