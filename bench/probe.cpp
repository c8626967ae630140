// Player and listener of part `jack`: two JACK clients, made before any contender and kept for all of them.
//
//     probe INPUTS OUTPUTS RATE SCRIPT
//
// SCRIPT holds three-byte messages: the first input's, all of them, then the next one's. For each line "NAME WARM_UP
// SECONDS FILE" on standard input: join the ports of the contender whose names contain NAME, play to each of its inputs
// RATE messages a second, and say "ready", "measuring" when the warm-up is over, "played" at its end; then write FILE
// and say "done CYCLES_MISSED". The file is text: "sent BEGIN_NS COUNT…", then "OUTPUT NS HEX" for each message that
// arrived. A message is due at an even rate, whatever the server's period, and counts as heard when the listener's
// cycle finds it: what the server itself costs is in the time of every contender alike.

#include <jack/jack.h>
#include <jack/midiport.h>
#include <time.h>
#include <unistd.h>

#include <atomic>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <iostream>
#include <sstream>
#include <string>
#include <vector>

struct Heard {
    uint64_t at;
    uint8_t output, size, data[3];
};

static int inputs, outputs, rate;
static std::vector<std::vector<uint8_t>> played;  // for each input, three bytes a message
static std::vector<jack_port_t *> playing, hearing;
static std::vector<uint64_t> given;  // messages so far, by input
static std::vector<Heard> heard;
static std::atomic<uint64_t> begin_at{0}, end_at{0}, heard_count{0};
static std::atomic<int> missed{0};

static uint64_t now() {
    timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return uint64_t(time.tv_sec) * 1000000000u + time.tv_nsec;
}

// Inputs are spread evenly over the time between two messages of one.
static uint64_t due(int input, uint64_t number) {
    return begin_at + (number * inputs + input) * 1000000000u / (uint64_t(rate) * inputs);
}

static int play(jack_nframes_t frames, void *) {
    const uint64_t at = now(), end = end_at;
    for (int i = 0; i < inputs; i++) {
        void *buffer = jack_port_get_buffer(playing[i], frames);
        jack_midi_clear_buffer(buffer);
        if (!begin_at) continue;
        const size_t cycle = played[i].size() / 3;
        for (uint64_t when; (when = due(i, given[i])) <= at && when < end; given[i]++)
            if (jack_midi_event_write(buffer, 0, &played[i][given[i] % cycle * 3], 3)) break;
    }
    return 0;
}

static int hear(jack_nframes_t frames, void *) {
    const uint64_t at = now();
    uint64_t count = heard_count;
    for (int o = 0; o < outputs; o++) {
        void *buffer = jack_port_get_buffer(hearing[o], frames);
        const uint32_t events = jack_midi_get_event_count(buffer);
        for (uint32_t e = 0; e < events; e++) {
            jack_midi_event_t event;
            if (jack_midi_event_get(&event, buffer, e) || !begin_at || count == heard.size()) continue;
            Heard &one = heard[count++];
            one.at = at, one.output = o, one.size = event.size;
            std::memcpy(one.data, event.buffer, event.size < 3 ? event.size : 3);
        }
    }
    heard_count = count;
    return 0;
}

static int miss(void *) {
    missed++;
    return 0;
}

static jack_client_t *join(const char *name, JackProcessCallback process) {
    jack_client_t *client = jack_client_open(name, JackNoStartServer, nullptr);
    if (!client) std::exit((std::cerr << "there is no JACK server\n", 1));
    jack_set_process_callback(client, process, nullptr);
    return client;
}

// The one port whose name contains `name` and ends in `end`; waits for it.
static std::string found(jack_client_t *client, const std::string &name, const std::string &end, unsigned long flags) {
    for (int tries = 0; tries < 600; tries++, usleep(50000)) {
        std::string wanted;
        const char **ports = jack_get_ports(client, nullptr, JACK_DEFAULT_MIDI_TYPE, flags);
        for (const char **port = ports; port && *port; port++) {
            const std::string one = *port;
            if (one.find(name) != std::string::npos && one.size() > end.size() &&
                one.compare(one.size() - end.size(), end.size(), end) == 0)
                wanted = one;
        }
        jack_free(ports);
        if (!wanted.empty()) return wanted;
    }
    std::exit((std::cerr << "the port " << name << " … " << end << " did not appear\n", 1));
}

static void connect(jack_client_t *client, const std::string &name) {
    for (int i = 0; i < inputs; i++) {
        const std::string port = found(client, name, ":in" + std::to_string(i), JackPortIsInput);
        jack_connect(client, jack_port_name(playing[i]), port.c_str());
    }
    for (int o = 0; o < outputs; o++) {
        const std::string port = found(client, name, ":out" + std::to_string(o), JackPortIsOutput);
        jack_connect(client, port.c_str(), jack_port_name(hearing[o]));
    }
}

static void say(const std::string &text) { std::cout << text << std::endl; }

static void turn(double warm_up, double seconds) {
    given.assign(inputs, 0);
    heard_count = 0;
    const uint64_t begin = now() + 50000000u;
    end_at = begin + uint64_t((warm_up + seconds) * 1e9);
    begin_at = begin;
    usleep(useconds_t(warm_up * 1e6));
    missed = 0;
    say("measuring");
    usleep(useconds_t(seconds * 1e6));
    say("played");
    usleep(400000);  // what is late may still come
}

static void write(const std::string &name) {
    std::ofstream file(name);
    file << "sent " << begin_at;
    for (uint64_t count : given) file << ' ' << count;
    file << '\n' << std::hex;
    const uint64_t count = heard_count;
    char line[64];
    for (uint64_t i = 0; i < count; i++) {
        const Heard &one = heard[i];
        std::snprintf(line, sizeof line, "%d %llu %02x%02x%02x\n", one.output, (unsigned long long)one.at, one.data[0],
                      one.size > 1 ? one.data[1] : 0, one.size > 2 ? one.data[2] : 0);
        file << line;
    }
    begin_at = 0;
}

int main(int count, char **words) {
    if (count != 5) return 2;
    inputs = std::atoi(words[1]), outputs = std::atoi(words[2]), rate = std::atoi(words[3]);
    std::ifstream script(words[4], std::ios::binary);
    const std::string all((std::istreambuf_iterator<char>(script)), std::istreambuf_iterator<char>());
    const size_t each = all.size() / inputs;
    for (int i = 0; i < inputs; i++) played.emplace_back(all.begin() + i * each, all.begin() + (i + 1) * each);
    given.assign(inputs, 0);
    heard.resize(size_t(rate) * outputs * 60);
    jack_client_t *player = join("probe-player", play), *listener = join("probe-listener", hear);
    for (int i = 0; i < inputs; i++)
        playing.push_back(jack_port_register(player, ("play " + std::to_string(i)).c_str(), JACK_DEFAULT_MIDI_TYPE,
                                             JackPortIsOutput, 0));
    for (int o = 0; o < outputs; o++)
        hearing.push_back(jack_port_register(listener, ("hear " + std::to_string(o)).c_str(), JACK_DEFAULT_MIDI_TYPE,
                                             JackPortIsInput, 0));
    jack_set_xrun_callback(listener, miss, nullptr);
    jack_activate(player);
    jack_activate(listener);
    for (std::string line; std::getline(std::cin, line);) {
        std::istringstream asked(line);
        std::string name, file;
        double warm_up, seconds;
        asked >> name >> warm_up >> seconds >> file;
        connect(player, name);
        say("ready");
        turn(warm_up, seconds);
        const int cycles = missed;
        write(file);
        say("done " + std::to_string(cycles));
    }
    jack_client_close(listener);
    jack_client_close(player);
}
