/* A queue of messages between one thread that writes and one that reads, which never wait for each other.
 *
 * A record is a head and, padded to eight bytes, the message. Each position counts all bytes ever written or read, so
 * that a full ring and an empty one differ; only its owner stores it, with release, and the other loads it, with
 * acquire. Memory is taken when the ring is made, and never afterwards.
 */
#ifndef BAYLEAF_JACK_RING_H
#define BAYLEAF_JACK_RING_H

#include <stdatomic.h>
#include <stdint.h>

typedef struct {
    int64_t at;    /* ns of CLOCK_MONOTONIC */
    uint32_t size; /* of the message, in bytes */
    uint32_t kept; /* not 0: the record holds a pointer to the message instead */
} RecordHead;

typedef struct {
    unsigned char *data;
    uint32_t mask;                         /* its size, a power of two, less one */
    _Alignas(64) _Atomic uint32_t written; /* the writer's */
    _Alignas(64) _Atomic uint32_t read;    /* the reader's */
} Ring;

/* Take the memory for a ring of this many bytes, a power of two; 0, or -1 if there is none. */
int ring_make(Ring *ring, uint32_t size);
void ring_free(Ring *ring);

/* The writer's: add a record with these `size` bytes behind its head; 0, or -1 if there is no room for it. */
int ring_put(Ring *ring, const RecordHead *head, const void *bytes, uint32_t size);

/* The reader's: look at the oldest record; 0 if there is none. */
int ring_peek(Ring *ring, RecordHead *head);
/* Copy bytes of that record, from this many behind its head on. */
void ring_copy(Ring *ring, uint32_t from, void *to, uint32_t size);
/* Take out that record, which holds this many bytes behind its head. */
void ring_drop(Ring *ring, uint32_t size);

/* Either's: how many bytes are in use. */
uint32_t ring_used(Ring *ring);

#endif
