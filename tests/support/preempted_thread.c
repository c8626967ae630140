/* For LD_PRELOAD: while a port is unregistered, JACK's threads lose the processor in the middle of RtMidi's process
   function, as on a starved machine. They spin there instead of waiting: a thread that was preempted counts as one
   that runs. */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdatomic.h>
#include <stdint.h>
#include <time.h>
#include <unistd.h>

static _Atomic int64_t until;

static int64_t now(void) {
  struct timespec read;
  clock_gettime(CLOCK_MONOTONIC, &read);
  return read.tv_sec * INT64_C(1000000000) + read.tv_nsec;
}

static void *in_libjack(const char *name) { return dlsym(dlopen(LIBJACK, RTLD_NOW), name); }

void *jack_port_get_buffer(void *port, uint32_t frames) {
  void *(*real)(void *, uint32_t) = in_libjack("jack_port_get_buffer");
  void *buffer = real(port, frames);
  while (now() < until) {
  }
  return buffer;
}

int jack_port_unregister(void *client, void *port) {
  int (*real)(void *, void *) = in_libjack("jack_port_unregister");
  until = now() + 80000000;
  usleep(30000); /* by then the thread has begun a cycle */
  return real(client, port);
}
