// The floor of part `jack`: C++ and RtMidi's callbacks, no filters, no Python.
//
//     forwarder NAME INPUTS OUTPUTS
//
// Ports "in0", "out0" … on JACK; input i goes to output i, and the first inputs to the outputs that are left over.
// Plays until its standard input ends.

#include <RtMidi.h>

#include <cstdlib>
#include <iostream>
#include <memory>
#include <string>
#include <vector>

using Message = std::vector<unsigned char>;

struct Way {
    std::vector<RtMidiOut *> to;
};

static void forward(double, Message *message, void *way) {
    for (RtMidiOut *output : static_cast<Way *>(way)->to) output->sendMessage(message);
}

int main(int count, char **given) {
    if (count != 4) return 2;
    const std::string name = given[1];
    const int inputs = std::atoi(given[2]), outputs = std::atoi(given[3]);
    std::vector<std::unique_ptr<RtMidiOut>> sending;
    for (int i = 0; i < outputs; i++) {
        const std::string end = "out" + std::to_string(i);
        sending.push_back(std::make_unique<RtMidiOut>(RtMidi::UNIX_JACK, name + "-" + end));
        sending.back()->openVirtualPort(end);
    }
    std::vector<Way> ways(inputs);
    std::vector<std::unique_ptr<RtMidiIn>> hearing;
    for (int i = 0; i < inputs; i++) {
        ways[i].to.push_back(sending[i].get());
        if (i < outputs - inputs) ways[i].to.push_back(sending[inputs + i].get());
        const std::string end = "in" + std::to_string(i);
        hearing.push_back(std::make_unique<RtMidiIn>(RtMidi::UNIX_JACK, name + "-" + end));
        hearing.back()->ignoreTypes(false, false, false);
        hearing.back()->setCallback(forward, &ways[i]);
        hearing.back()->openVirtualPort(end);
    }
    std::string line;
    while (std::getline(std::cin, line)) {}
    for (auto &input : hearing) input->closePort();
}
