/* Finds JACK's library, the system's own, and the functions in it. */
#include "library.h"

#include <dlfcn.h>

JackLibrary jack;

/* The library's messages stay off the player's terminal. Its threads call this, so it does nothing. */
static void stay_silent(const char *text) { (void)text; }

const char *load_library(void) {
    static int loaded;
    if (loaded) return NULL;
    void *library = dlopen("libjack.so.0", RTLD_NOW | RTLD_LOCAL);
    if (!library) return "there is no libjack.so.0 on this system";
#define JACK_FIND(type, name, arguments)                 \
    *(void **)&jack.name = dlsym(library, "jack_" #name); \
    if (!jack.name) return "this system's libjack.so.0 has no jack_" #name;
    JACK_FUNCTIONS(JACK_FIND)
#undef JACK_FIND
    jack.set_error_function(stay_silent);
    jack.set_info_function(stay_silent);
    loaded = 1;
    return NULL;
}
