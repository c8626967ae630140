/* The functions of JACK's library that the client calls, found when it is first needed.
 *
 * They are looked up at run time, so that the module builds without JACK's headers and loads without JACK. Types and
 * values: jack/types.h, jack/jack.h and jack/midiport.h of JACK 1.9.21.
 */
#ifndef BAYLEAF_JACK_LIBRARY_H
#define BAYLEAF_JACK_LIBRARY_H

#include <stddef.h>
#include <stdint.h>

typedef uint32_t Frames;

typedef struct {
    Frames time;
    size_t size;
    unsigned char *buffer;
} MidiEvent;

#define MIDI_TYPE "8 bit raw midi"
enum { PORT_IS_INPUT = 0x1, PORT_IS_OUTPUT = 0x2, NO_START_SERVER = 0x1 };

#define JACK_FUNCTIONS(X)                                                                                  \
    X(void *, client_open, (const char *, int, int *, ...))                                                \
    X(int, client_close, (void *))                                                                         \
    X(int, activate, (void *))                                                                             \
    X(int, set_process_callback, (void *, int (*)(Frames, void *), void *))                                \
    X(int, set_port_registration_callback, (void *, void (*)(uint32_t, int, void *), void *))              \
    X(int, set_port_connect_callback, (void *, void (*)(uint32_t, uint32_t, int, void *), void *))         \
    X(int, set_port_rename_callback, (void *, void (*)(uint32_t, const char *, const char *, void *), void *)) \
    X(void, on_shutdown, (void *, void (*)(void *), void *))                                               \
    X(void *, port_register, (void *, const char *, const char *, unsigned long, unsigned long))           \
    X(int, port_unregister, (void *, void *))                                                              \
    X(int, port_rename, (void *, void *, const char *))                                                    \
    X(const char *, port_name, (const void *))                                                             \
    X(int, port_connected_to, (const void *, const char *))                                                \
    X(void *, port_get_buffer, (void *, Frames))                                                           \
    X(Frames, midi_get_event_count, (void *))                                                              \
    X(int, midi_event_get, (MidiEvent *, void *, uint32_t))                                                \
    X(uint32_t, midi_get_lost_event_count, (void *))                                                       \
    X(void, midi_clear_buffer, (void *))                                                                   \
    X(unsigned char *, midi_event_reserve, (void *, Frames, size_t))                                       \
    X(size_t, midi_max_event_size, (void *))                                                               \
    X(Frames, get_sample_rate, (void *))                                                                   \
    X(Frames, get_buffer_size, (void *))                                                                   \
    X(Frames, last_frame_time, (const void *))                                                             \
    X(Frames, frames_since_cycle_start, (const void *))                                                    \
    X(int, connect, (void *, const char *, const char *))                                                  \
    X(const char **, get_ports, (void *, const char *, const char *, unsigned long))                       \
    X(void, free, (void *))                                                                                \
    X(void, set_error_function, (void (*)(const char *)))                                                  \
    X(void, set_info_function, (void (*)(const char *)))

typedef struct {
#define JACK_MEMBER(type, name, arguments) type(*name) arguments;
    JACK_FUNCTIONS(JACK_MEMBER)
#undef JACK_MEMBER
} JackLibrary;

extern JackLibrary jack;

/* Find the library and all of these; NULL, or a sentence that says what is missing. */
const char *load_library(void);

#endif
