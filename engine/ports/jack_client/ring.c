/* See ring.h. */
#include "ring.h"

#include <stdlib.h>
#include <string.h>

int ring_make(Ring *ring, uint32_t size) {
    ring->data = calloc(1, size);
    ring->mask = size - 1;
    atomic_store(&ring->written, 0);
    atomic_store(&ring->read, 0);
    return ring->data ? 0 : -1;
}

void ring_free(Ring *ring) {
    free(ring->data);
    ring->data = NULL;
}

static uint32_t record_length(uint32_t size) { return (uint32_t)sizeof(RecordHead) + ((size + 7) & ~7u); }

/* How many of these bytes stand before the ring's end; the others stand at its beginning. */
static uint32_t before_end(const Ring *ring, uint32_t position, uint32_t size) {
    uint32_t room = ring->mask + 1 - (position & ring->mask);
    return size < room ? size : room;
}

static void copy_in(Ring *ring, uint32_t position, const void *from, uint32_t size) {
    uint32_t first = before_end(ring, position, size);
    memcpy(ring->data + (position & ring->mask), from, first);
    memcpy(ring->data, (const unsigned char *)from + first, size - first);
}

static void copy_out(const Ring *ring, uint32_t position, void *to, uint32_t size) {
    uint32_t first = before_end(ring, position, size);
    memcpy(to, ring->data + (position & ring->mask), first);
    memcpy((unsigned char *)to + first, ring->data, size - first);
}

uint32_t ring_used(Ring *ring) {
    /* the reader's first: it can only grow meanwhile, and never beyond the writer's */
    uint32_t read = atomic_load_explicit(&ring->read, memory_order_acquire);
    return atomic_load_explicit(&ring->written, memory_order_acquire) - read;
}

int ring_put(Ring *ring, const RecordHead *head, const void *bytes, uint32_t size) {
    uint32_t length = record_length(size);
    uint32_t written = atomic_load_explicit(&ring->written, memory_order_relaxed);
    uint32_t used = written - atomic_load_explicit(&ring->read, memory_order_acquire);
    if (size > ring->mask || length > ring->mask + 1 - used) return -1;
    copy_in(ring, written, head, sizeof *head);
    copy_in(ring, written + (uint32_t)sizeof *head, bytes, size);
    atomic_store_explicit(&ring->written, written + length, memory_order_release);
    return 0;
}

int ring_peek(Ring *ring, RecordHead *head) {
    uint32_t read = atomic_load_explicit(&ring->read, memory_order_relaxed);
    if (read == atomic_load_explicit(&ring->written, memory_order_acquire)) return 0;
    copy_out(ring, read, head, sizeof *head);
    return 1;
}

void ring_copy(Ring *ring, uint32_t from, void *to, uint32_t size) {
    uint32_t read = atomic_load_explicit(&ring->read, memory_order_relaxed);
    copy_out(ring, read + (uint32_t)sizeof(RecordHead) + from, to, size);
}

void ring_drop(Ring *ring, uint32_t size) {
    uint32_t read = atomic_load_explicit(&ring->read, memory_order_relaxed);
    atomic_store_explicit(&ring->read, read + record_length(size), memory_order_release);
}
