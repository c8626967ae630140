/* The client as a type of Python's: `native.Client`, described in native.pyi. */
#define Py_LIMITED_API 0x030B0000
#include <Python.h>

#include "client.h"

typedef struct {
    PyObject_HEAD
    Client *client; /* NULL once it is closed */
} ClientObject;

static PyObject *fail(const char *text) {
    PyErr_SetString(PyExc_OSError, text);
    return NULL;
}

static Client *of(PyObject *self) {
    Client *client = ((ClientObject *)self)->client;
    if (!client) fail("the JACK client is closed");
    return client;
}

/* The client of a place that a port is open at. Sending and reading keep the interpreter's lock from here to their end,
 * and a port begins to close with it: so none of them is under way there when its memory is given back. */
static Client *of_place(PyObject *self, int place) {
    Client *client = of(self);
    if (client && (!client_port(client, place) || client->closing[place])) {
        fail("there is no such port");
        return NULL;
    }
    return client;
}

/* A call without the interpreter's lock begins: another thread may close the client meanwhile. */
static PyThreadState *begin_call(Client *client) {
    client->users++;
    return PyEval_SaveThread();
}

static void end_call(Client *client, PyThreadState *state) {
    PyEval_RestoreThread(state);
    if (--client->users || !client->orphaned) return;
    state = PyEval_SaveThread();
    client_close(client);
    PyEval_RestoreThread(state);
}

static PyObject *client_new(PyTypeObject *type, PyObject *args, PyObject *keywords) {
    static char *names[] = {"name", NULL};
    const char *name, *wrong;
    if (!PyArg_ParseTupleAndKeywords(args, keywords, "s", names, &name)) return NULL;
    if ((wrong = load_library())) {
        PyErr_SetString(PyExc_ImportError, wrong);
        return NULL;
    }
    allocfunc allocate = (allocfunc)PyType_GetSlot(type, Py_tp_alloc);
    ClientObject *self = (ClientObject *)allocate(type, 0);
    if (!self) return NULL;
    Py_BEGIN_ALLOW_THREADS
    self->client = client_open(name, &wrong);
    Py_END_ALLOW_THREADS
    if (self->client) return (PyObject *)self;
    Py_DECREF(self);
    return fail(wrong);
}

static void leave(ClientObject *self) {
    Client *client = self->client;
    self->client = NULL;
    if (!client) return;
    client->orphaned = 1;
    client_rouse(client);
    PyThreadState *state = begin_call(client);
    end_call(client, state);
}

static PyObject *close_client(PyObject *self, PyObject *none) {
    (void)none;
    leave((ClientObject *)self);
    Py_RETURN_NONE;
}

/* The server is frozen, and asking it for anything would block us: the client stays as it is until we end. */
static PyObject *abandon(PyObject *self, PyObject *none) {
    (void)none;
    ((ClientObject *)self)->client = NULL;
    Py_RETURN_NONE;
}

static void deallocate(PyObject *self) {
    leave((ClientObject *)self);
    PyTypeObject *type = Py_TYPE(self);
    freefunc release = (freefunc)PyType_GetSlot(type, Py_tp_free);
    release(self);
    Py_DECREF(type);
}

/* Ports */

static PyObject *open_port(PyObject *self, PyObject *args) {
    int is_output, place;
    const char *name;
    Client *client = of(self);
    if (!client || !PyArg_ParseTuple(args, "ps", &is_output, &name)) return NULL;
    PyThreadState *state = begin_call(client);
    place = client_open_port(client, is_output, name);
    if (place >= 0) client->closing[place] = 0; /* nobody knows this place yet */
    end_call(client, state);
    return place < 0 ? fail("the JACK server refused the port") : PyLong_FromLong(place);
}

static PyObject *close_port(PyObject *self, PyObject *args) {
    int place, late;
    Client *client;
    if (!PyArg_ParseTuple(args, "i", &place) || !(client = of_place(self, place))) return NULL;
    client->closing[place] = 1;
    PyThreadState *state = begin_call(client);
    late = client_close_port(client, place);
    end_call(client, state);
    return PyBool_FromLong(!late);
}

static PyObject *rename_port(PyObject *self, PyObject *args) {
    int place, wrong;
    const char *name;
    Client *client;
    if (!PyArg_ParseTuple(args, "is", &place, &name) || !(client = of_place(self, place))) return NULL;
    PyThreadState *state = begin_call(client);
    wrong = jack.port_rename(client->jack, client_port(client, place), name);
    end_call(client, state);
    if (wrong) return fail("the JACK server refused the port's new name");
    Py_RETURN_NONE;
}

static PyObject *decoded(const char *name) {
    const char *end = name;
    while (*end) end++;
    return PyUnicode_DecodeUTF8(name, end - name, "replace");
}

static PyObject *port_name(PyObject *self, PyObject *args) {
    int place;
    Client *client;
    if (!PyArg_ParseTuple(args, "i", &place) || !(client = of_place(self, place))) return NULL;
    const char *name = jack.port_name(client_port(client, place));
    return name ? decoded(name) : fail("the JACK server no longer has this port");
}

static PyObject *list_ports(PyObject *self, PyObject *args) {
    int playing;
    Client *client = of(self);
    if (!client || !PyArg_ParseTuple(args, "p", &playing)) return NULL;
    PyThreadState *state = begin_call(client);
    const char **names = jack.get_ports(client->jack, NULL, MIDI_TYPE, playing ? PORT_IS_OUTPUT : PORT_IS_INPUT);
    end_call(client, state);
    PyObject *list = PyList_New(0);
    for (int number = 0; list && names && names[number]; number++) {
        PyObject *name = decoded(names[number]);
        if (!name || PyList_Append(list, name)) Py_CLEAR(list);
        Py_XDECREF(name);
    }
    if (names) jack.free(names);
    return list;
}

static PyObject *connect_ports(PyObject *self, PyObject *args) {
    const char *source, *target;
    int result;
    Client *client = of(self);
    if (!client || !PyArg_ParseTuple(args, "ss", &source, &target)) return NULL;
    PyThreadState *state = begin_call(client);
    result = jack.connect(client->jack, source, target);
    end_call(client, state);
    return PyLong_FromLong(result);
}

static PyObject *is_connected(PyObject *self, PyObject *args) {
    int place;
    const char *name;
    Client *client;
    if (!PyArg_ParseTuple(args, "is", &place, &name) || !(client = of_place(self, place))) return NULL;
    return PyBool_FromLong(jack.port_connected_to(client_port(client, place), name));
}

/* Messages */

static PyObject *message_of(Ring *ring, const RecordHead *head) {
    PyObject *message = PyBytes_FromStringAndSize(NULL, head->size);
    if (message) ring_copy(ring, 0, PyBytes_AsString(message), head->size);
    return message ? Py_BuildValue("LN", (long long)head->at, message) : NULL;
}

static PyObject *read_port(PyObject *self, PyObject *argument) {
    int place = (int)PyLong_AsLong(argument);
    if (PyErr_Occurred()) return NULL;
    Client *client = of_place(self, place);
    if (!client) return NULL;
    if (place >= PORTS_EACH_WAY) return fail("that is an output");
    Ring *ring = &client->inputs[place].ring;
    RecordHead head;
    PyObject *list = PyList_New(0);
    while (list && ring_peek(ring, &head)) {
        PyObject *pair = message_of(ring, &head);
        if (!pair || PyList_Append(list, pair)) Py_CLEAR(list);
        else ring_drop(ring, head.size);
        Py_XDECREF(pair);
    }
    return list;
}

/* Called for each message: without parsing of arguments, and with no lock or system call. */
static PyObject *send_to_port(PyObject *self, PyObject *const *args, Py_ssize_t count) {
    char *bytes;
    Py_ssize_t size;
    if (count != 3) return fail("send takes a place, a message and a time");
    int place = (int)PyLong_AsLong(args[0]);
    long long at = PyLong_AsLongLong(args[2]);
    if (PyErr_Occurred() || PyBytes_AsStringAndSize(args[1], &bytes, &size)) return NULL;
    Client *client = of_place(self, place);
    if (!client) return NULL;
    if (place < PORTS_EACH_WAY || size == 0 || size > MOST_KEPT) return fail("that cannot be sent");
    if (atomic_load(&client->died)) Py_RETURN_FALSE;
    Output *output = &client->outputs[place - PORTS_EACH_WAY];
    return PyBool_FromLong(!client_send(output, at, (const unsigned char *)bytes, (uint32_t)size));
}

static PyObject *count_lost(PyObject *self, PyObject *args) {
    int place;
    Client *client;
    if (!PyArg_ParseTuple(args, "i", &place) || !(client = of_place(self, place))) return NULL;
    _Atomic uint32_t *lost = place < PORTS_EACH_WAY ? &client->inputs[place].lost
                                                    : &client->outputs[place - PORTS_EACH_WAY].lost;
    return PyLong_FromUnsignedLong(atomic_load(lost));
}

/* Waking */

static PyObject *wait_for_messages(PyObject *self, PyObject *args) {
    double seconds;
    Client *client = of(self);
    if (!client || !PyArg_ParseTuple(args, "d", &seconds)) return NULL;
    PyThreadState *state = begin_call(client);
    client_wait(client, seconds > 0 ? (int64_t)(seconds * 1e9) : 0);
    end_call(client, state);
    Py_RETURN_NONE;
}

static PyObject *rouse(PyObject *self, PyObject *none) {
    (void)none;
    Client *client = of(self);
    if (!client) return NULL;
    client_rouse(client);
    Py_RETURN_NONE;
}

/* What is known of the server */

static PyObject *get_died(PyObject *self, void *none) {
    (void)none;
    Client *client = ((ClientObject *)self)->client;
    return PyBool_FromLong(!client || atomic_load(&client->died));
}

static PyObject *get_count(PyObject *self, void *offset) {
    Client *client = ((ClientObject *)self)->client;
    _Atomic uint32_t *count = client ? (_Atomic uint32_t *)((char *)client + (size_t)offset) : NULL;
    return PyLong_FromUnsignedLong(count ? atomic_load(count) : 0);
}

static PyObject *get_period(PyObject *self, void *none) {
    (void)none;
    Client *client = ((ClientObject *)self)->client;
    return PyFloat_FromDouble(client ? (double)atomic_load(&client->period_ns) / 1e9 : 0.0);
}

static PyMethodDef methods[] = {
    {"open", open_port, METH_VARARGS, NULL},
    {"close_port", close_port, METH_VARARGS, NULL},
    {"rename", rename_port, METH_VARARGS, NULL},
    {"name", port_name, METH_VARARGS, NULL},
    {"ports", list_ports, METH_VARARGS, NULL},
    {"connect", connect_ports, METH_VARARGS, NULL},
    {"connected", is_connected, METH_VARARGS, NULL},
    {"read", read_port, METH_O, NULL},
    {"send", (PyCFunction)(void (*)(void))send_to_port, METH_FASTCALL, NULL},
    {"lost", count_lost, METH_VARARGS, NULL},
    {"wait", wait_for_messages, METH_VARARGS, NULL},
    {"rouse", rouse, METH_NOARGS, NULL},
    {"close", close_client, METH_NOARGS, NULL},
    {"abandon", abandon, METH_NOARGS, NULL},
    {NULL, NULL, 0, NULL},
};

static PyGetSetDef facts[] = {
    {"died", get_died, NULL, NULL, NULL},
    {"changes", get_count, NULL, NULL, (void *)offsetof(Client, changes)},
    {"cycles", get_count, NULL, NULL, (void *)offsetof(Client, cycles)},
    {"missed", get_count, NULL, NULL, (void *)offsetof(Client, missed)},
    {"period", get_period, NULL, NULL, NULL},
    {NULL, NULL, NULL, NULL, NULL},
};

static PyType_Slot slots[] = {
    {Py_tp_new, client_new},
    {Py_tp_dealloc, deallocate},
    {Py_tp_methods, methods},
    {Py_tp_getset, facts},
    {0, NULL},
};

static PyType_Spec specification = {
    "engine.ports.jack_client.native.Client", sizeof(ClientObject), 0, Py_TPFLAGS_DEFAULT, slots,
};

static struct PyModuleDef definition = {
    PyModuleDef_HEAD_INIT, "native", "One JACK client with many MIDI ports.", -1, NULL, NULL, NULL, NULL, NULL,
};

PyMODINIT_FUNC PyInit_native(void) {
    PyObject *module = PyModule_Create(&definition), *type = PyType_FromSpec(&specification);
    if (!module || !type || PyModule_AddObjectRef(module, "Client", type)) return NULL;
    Py_DECREF(type);
    return module;
}
