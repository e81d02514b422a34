/* The loops over samples and steps, compiled when presolder is built.

   What each computes, and why, is said in Python beside the function of the same
   name (models/audio/kernels.py, shaper.py, devices.py, models/circuit/newton.py),
   which takes its place where this could not be built. Arrays come in as
   C-contiguous 64-bit floats; the interpreter's lock is let go while a loop runs. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#include <Python.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Wider arithmetic where the machine has it, found out when the module is loaded. */
#if defined(__GNUC__) && !defined(__clang__) && defined(__x86_64__) && defined(__gnu_linux__)
#define WIDE __attribute__((target_clones("arch=x86-64-v3", "default")))
#else
#define WIDE
#endif
#if defined(__GNUC__)
#define INLINE static inline __attribute__((always_inline))
#else
#define INLINE static __forceinline
#endif

/* Four numbers side by side. */
#if defined(__GNUC__)
typedef double Four __attribute__((vector_size(32)));
INLINE Four four_more(Four sum, Four a, double b) { return sum + a * b; }
INLINE Four four_between(Four low, Four rise, double above) { return low + rise * above; }
#else
typedef struct { double at[4]; } Four;
INLINE Four four_more(Four sum, Four a, double b)
{
    for (int i = 0; i < 4; i++)
        sum.at[i] += a.at[i] * b;
    return sum;
}
INLINE Four four_between(Four low, Four rise, double above) { return four_more(low, rise, above); }
#endif

INLINE Four four_at(const double *from)
{
    Four found;
    memcpy(&found, from, sizeof found);
    return found;
}

INLINE void four_to(double *to, Four given)
{
    memcpy(to, &given, sizeof given);
}

/* ---- arrays from Python ---------------------------------------------------- */

typedef struct {
    const char *name;
    int dimensions;
    int written;
    int apart; /* rows may lie apart, as in a part of a larger array */
} Wanted;

typedef struct {
    Py_buffer view;
    double *data;
    Py_ssize_t shape[3];
    Py_ssize_t row; /* from one row of two dimensions to the next, in numbers */
} Array;

static int take_array(PyObject *given, const Wanted *wanted, Array *array)
{
    const int layout = wanted->apart ? PyBUF_STRIDES : PyBUF_C_CONTIGUOUS;
    const int writable = wanted->written ? PyBUF_WRITABLE : 0;
    if (PyObject_GetBuffer(given, &array->view, layout | writable | PyBUF_FORMAT) < 0)
        return -1;
    const int dimensions = array->view.ndim;
    if (dimensions != wanted->dimensions || strcmp(array->view.format, "d") != 0
        || array->view.strides[dimensions - 1] != (Py_ssize_t)sizeof(double)) {
        PyErr_Format(PyExc_TypeError, "%s: %d dimensions of 64-bit floats are wanted",
                     wanted->name, wanted->dimensions);
        PyBuffer_Release(&array->view);
        return -1;
    }
    array->data = array->view.buf;
    for (int i = 0; i < dimensions; i++)
        array->shape[i] = array->view.shape[i];
    array->row = dimensions == 2 ? array->view.strides[0] / (Py_ssize_t)sizeof(double) : 0;
    return 0;
}

static void let_go(Array *arrays, Py_ssize_t count)
{
    for (Py_ssize_t i = 0; i < count; i++)
        PyBuffer_Release(&arrays[i].view);
}

/* All arrays of a call, or -1 with an exception and none of them held. */
static int take_arrays(PyObject *const *given, const Wanted *wanted, Py_ssize_t count, Array *arrays)
{
    for (Py_ssize_t i = 0; i < count; i++)
        if (take_array(given[i], &wanted[i], &arrays[i]) < 0) {
            let_go(arrays, i);
            return -1;
        }
    return 0;
}

static int counted(Py_ssize_t given, Py_ssize_t wanted)
{
    if (given == wanted)
        return 1;
    PyErr_Format(PyExc_TypeError, "%zd arguments are wanted, not %zd", wanted, given);
    return 0;
}

static int agree(int holds)
{
    if (!holds)
        PyErr_SetString(PyExc_ValueError, "the arrays' shapes do not agree");
    return holds;
}

/* The row a dial lies above, found by walking from the last. */
INLINE Py_ssize_t row_at(const double *dials, Py_ssize_t last_row, double dial, Py_ssize_t row)
{
    while (row < last_row && dial >= dials[row + 1])
        row++;
    while (row > 0 && dial < dials[row])
        row--;
    return row;
}

/* ---- the linear circuit ------------------------------------------------------ */

#define MOST_WIDE 16

typedef struct {
    const double *table, *dials, *dial, *emf;
    double *states, *output;
    Py_ssize_t last_row, outs, entries, samples, apart;
    double *room; /* three matrices by columns */
} Linear;

/* Write a row's matrix, and how far the next lies from it, by columns, the EMF's first. */
static void take_row(const Linear *run, Py_ssize_t row, Py_ssize_t width)
{
    const Py_ssize_t outs = run->outs, entries = run->entries, nodes = entries - outs + 1;
    const double *one = run->table + row * outs * entries, *next = one + outs * entries;
    double *low = run->room, *rise = low + entries * width;
    for (Py_ssize_t j = 0; j < entries; j++) {
        const Py_ssize_t from = j < nodes ? outs - 1 + j : j - nodes;
        for (Py_ssize_t i = 0; i < outs; i++) {
            low[j * width + i] = one[i * entries + from];
            rise[j * width + i] = next[i * entries + from] - one[i * entries + from];
        }
    }
}

/* Columns are four times `wide` long, filled up with zeros: their sums run side by side, and
   stay in registers, since `wide` is known when this is compiled. */
INLINE void step_linear(const Linear *run, const int wide)
{
    const Py_ssize_t states = run->outs - 1, nodes = run->entries - states;
    const Py_ssize_t width = 4 * wide, square = run->entries * width, samples = run->samples;
    const double *low = run->room, *rise = low + square;
    double *now = run->room + 2 * square;
    double last[4 * MOST_WIDE] = {0.0}, stands = -1.0, base = 0.0, scale = 0.0;
    Py_ssize_t row = -1;
    int resting = 0;
    memset(run->room, 0, 3 * square * sizeof(double));
    memcpy(last, run->states, states * sizeof(double));
    for (Py_ssize_t n = 0; n < samples; n++) {
        const double dial = run->dial[n], *emf = run->emf + n;
        Four sums[MOST_WIDE];
        memset(sums, 0, wide * sizeof(Four));
        if (dial != stands) {
            const Py_ssize_t here = row_at(run->dials, run->last_row, dial, row < 0 ? 0 : row);
            if (here != row) {
                take_row(run, here, width);
                row = here;
                base = run->dials[row];
                scale = 1.0 / (run->dials[row + 1] - base);
            }
            stands = dial;
            resting = 0;
        } else if (!resting) {
            const double above = (dial - base) * scale;
            for (Py_ssize_t i = 0; i < square; i++)
                now[i] = low[i] + above * rise[i];
            resting = 1;
        }
        if (resting) {
            for (Py_ssize_t j = 0; j < nodes; j++)
                for (int k = 0; k < wide; k++)
                    sums[k] = four_more(sums[k], four_at(now + j * width + 4 * k), emf[j * run->apart]);
            const double *own = now + nodes * width;
            for (Py_ssize_t j = 0; j < states; j++)
                for (int k = 0; k < wide; k++)
                    sums[k] = four_more(sums[k], four_at(own + j * width + 4 * k), last[j]);
        } else {
            const double above = (dial - base) * scale;
            for (Py_ssize_t j = 0; j < nodes; j++)
                for (int k = 0; k < wide; k++) {
                    const Py_ssize_t at = j * width + 4 * k;
                    const Four here = four_between(four_at(low + at), four_at(rise + at), above);
                    sums[k] = four_more(sums[k], here, emf[j * run->apart]);
                }
            for (Py_ssize_t j = 0; j < states; j++)
                for (int k = 0; k < wide; k++) {
                    const Py_ssize_t at = (nodes + j) * width + 4 * k;
                    const Four here = four_between(four_at(low + at), four_at(rise + at), above);
                    sums[k] = four_more(sums[k], here, last[j]);
                }
        }
        for (int k = 0; k < wide; k++)
            four_to(last + 4 * k, sums[k]);
        run->output[n] = last[states];
    }
    memcpy(run->states, last, states * sizeof(double));
}

static Py_ssize_t filled_up(Py_ssize_t count)
{
    return (count + 3) / 4 * 4;
}

WIDE static void run_linear(const Linear *run)
{
    switch (filled_up(run->outs) / 4) {
    case 1: step_linear(run, 1); break;
    case 2: step_linear(run, 2); break;
    case 3: step_linear(run, 3); break;
    case 4: step_linear(run, 4); break;
    default: step_linear(run, (int)(filled_up(run->outs) / 4));
    }
}

static PyObject *step_states(PyObject *self, PyObject *const *given, Py_ssize_t count)
{
    static const Wanted wanted[] = {{"table", 3, 0, 0}, {"table_dials", 1, 0, 0}, {"dial", 1, 0, 0},
                                    {"emf", 2, 0, 1}, {"states", 1, 1, 0}, {"output", 1, 1, 0}};
    Array a[6];
    if (!counted(count, 6) || take_arrays(given, wanted, 6, a) < 0)
        return NULL;
    Linear run = {a[0].data, a[1].data, a[2].data, a[3].data, a[4].data, a[5].data,
                  a[0].shape[0] - 2, a[0].shape[1], a[0].shape[2], a[2].shape[0], a[3].row, NULL};
    if (!agree(run.last_row >= 0 && run.outs <= 4 * MOST_WIDE && a[1].shape[0] == a[0].shape[0]
               && a[3].shape[1] == run.samples && a[5].shape[0] == run.samples
               && a[4].shape[0] == run.outs - 1
               && a[3].shape[0] == run.entries - run.outs + 1)) {
        let_go(a, 6);
        return NULL;
    }
    run.room = malloc(3 * run.entries * filled_up(run.outs) * sizeof(double));
    if (run.room != NULL) {
        Py_BEGIN_ALLOW_THREADS
        run_linear(&run);
        Py_END_ALLOW_THREADS
    }
    let_go(a, 6);
    if (run.room == NULL)
        return PyErr_NoMemory();
    free(run.room);
    Py_RETURN_NONE;
}

/* ---- short sums around each sample ------------------------------------------------ */

typedef struct {
    const double *signals, *kernels;
    double *output;
    Py_ssize_t apart, phases, taps, instants, samples, out_apart;
} Combining;

/* `rows` results at once from instant `first` on, eight samples of each side by side. */
INLINE void combine_rows(const Combining *run, Py_ssize_t first, const int rows)
{
    const Py_ssize_t taps = run->taps, phases = run->phases, each = phases * taps;
    const double *kernels = run->kernels + first * each;
    double *output = run->output + first * run->out_apart;
    Py_ssize_t n = 0;
    for (; n + 8 <= run->samples; n += 8) {
        Four low[4], high[4];
        memset(low, 0, sizeof low);
        memset(high, 0, sizeof high);
        for (Py_ssize_t j = 0; j < phases; j++)
            for (Py_ssize_t k = 0; k < taps; k++) {
                const double *from = run->signals + j * run->apart + n + k;
                const Four near = four_at(from), far = four_at(from + 4);
                for (int i = 0; i < rows; i++) {
                    const double weight = kernels[i * each + j * taps + k];
                    low[i] = four_more(low[i], near, weight);
                    high[i] = four_more(high[i], far, weight);
                }
            }
        for (int i = 0; i < rows; i++) {
            four_to(output + i * run->out_apart + n, low[i]);
            four_to(output + i * run->out_apart + n + 4, high[i]);
        }
    }
    for (; n < run->samples; n++)
        for (int i = 0; i < rows; i++) {
            double sum = 0.0;
            for (Py_ssize_t j = 0; j < phases; j++)
                for (Py_ssize_t k = 0; k < taps; k++)
                    sum += kernels[i * each + j * taps + k] * run->signals[j * run->apart + n + k];
            output[i * run->out_apart + n] = sum;
        }
}

WIDE static void run_combine(const Combining *run)
{
    Py_ssize_t done = 0;
    for (; done + 4 <= run->instants; done += 4)
        combine_rows(run, done, 4);
    for (; done < run->instants; done++)
        combine_rows(run, done, 1);
}

static PyObject *combine(PyObject *self, PyObject *const *given, Py_ssize_t count)
{
    static const Wanted wanted[] = {
        {"signals", 2, 0, 1}, {"kernels", 3, 0, 0}, {"output", 2, 1, 1}};
    Array a[3];
    if (!counted(count, 3) || take_arrays(given, wanted, 3, a) < 0)
        return NULL;
    const Combining run = {a[0].data, a[1].data, a[2].data, a[0].row, a[1].shape[1],
                           a[1].shape[2], a[1].shape[0], a[2].shape[1], a[2].row};
    int fits = agree(run.taps > 0 && a[0].shape[0] == run.phases && a[2].shape[0] == run.instants
                     && a[0].shape[1] == run.samples + run.taps - 1);
    if (fits) {
        Py_BEGIN_ALLOW_THREADS
        run_combine(&run);
        Py_END_ALLOW_THREADS
    }
    let_go(a, 3);
    if (!fits)
        return NULL;
    Py_RETURN_NONE;
}

/* ---- second-order sections ---------------------------------------------------- */

static void run_sections(const double *sections, Py_ssize_t count, double *memory,
                         const double *signal, double *output, Py_ssize_t samples)
{
    for (Py_ssize_t n = 0; n < samples; n++) {
        double value = signal[n];
        for (Py_ssize_t k = 0; k < count; k++) {
            const double *c = sections + 6 * k;
            double *m = memory + 2 * k;
            const double result = c[0] * value + m[0];
            m[0] = c[1] * value - c[4] * result + m[1];
            m[1] = c[2] * value - c[5] * result;
            value = result;
        }
        output[n] = value;
    }
}

static PyObject *filter_sections(PyObject *self, PyObject *const *given, Py_ssize_t count)
{
    static const Wanted wanted[] = {
        {"sections", 2, 0, 0}, {"memory", 2, 1, 0}, {"signal", 1, 0, 0}, {"output", 1, 1, 0}};
    Array a[4];
    if (!counted(count, 4) || take_arrays(given, wanted, 4, a) < 0)
        return NULL;
    int fits = agree(a[0].shape[1] == 6 && a[1].shape[0] == a[0].shape[0] && a[1].shape[1] == 2
                     && a[2].shape[0] == a[3].shape[0]);
    if (fits) {
        Py_BEGIN_ALLOW_THREADS
        run_sections(a[0].data, a[0].shape[0], a[1].data, a[2].data, a[3].data, a[2].shape[0]);
        Py_END_ALLOW_THREADS
    }
    let_go(a, 4);
    if (!fits)
        return NULL;
    Py_RETURN_NONE;
}

/* ---- the static curve, averaged --------------------------------------------------- */

/* The curve, its antiderivative and that one's, at nodes; outside them the curve is flat. */
typedef struct {
    const double *curve, *once, *twice;
    Py_ssize_t last;
    double first, step, end;
} Curves;

INLINE double between(const Curves *c, const double *slopes, const double *values, double place)
{
    const Py_ssize_t at = (Py_ssize_t)place, i = at < c->last ? at : c->last - 1;
    const double t = place - (double)i, step = c->step, rise = values[i + 1] - values[i];
    const double start = step * slopes[i], stop = step * slopes[i + 1];
    const double bend = start + stop - 2.0 * rise;
    return values[i] + t * (start + t * ((rise - start) - bend + t * bend));
}

INLINE void integrals(const Curves *c, double x, double *once, double *twice)
{
    if (c->first < x && x < c->end) {
        const double place = (x - c->first) / c->step;
        *once = between(c, c->curve, c->once, place);
        *twice = between(c, c->once, c->twice, place);
        return;
    }
    const Py_ssize_t near = x <= c->first ? 0 : c->last;
    const double beyond = x - (x <= c->first ? c->first : c->end);
    *once = c->once[near] + beyond * c->curve[near];
    *twice = c->twice[near] + beyond * (c->once[near] + 0.5 * beyond * c->curve[near]);
}

INLINE double curve_at(const Curves *c, double x)
{
    double place = (x - c->first) / c->step;
    place = place > 0.0 ? place : 0.0;
    place = place < (double)c->last ? place : (double)c->last;
    Py_ssize_t i = (Py_ssize_t)place;
    if (i > c->last - 1)
        i = c->last - 1;
    return c->curve[i] + (place - (double)i) * (c->curve[i + 1] - c->curve[i]);
}

static void run_shaper(const Curves *c, double shortest, const double *signal, double *output,
                       Py_ssize_t samples)
{
    /* Gauss-Legendre points on 0 to 1 and their weights: exact to the fifth order. */
    const double points[] = {0.5 - sqrt(0.15), 0.5, 0.5 + sqrt(0.15)};
    const double weights[] = {5.0 / 18.0, 8.0 / 18.0, 5.0 / 18.0};
    double previous = signal[samples - 1], here, here_twice;
    integrals(c, previous, &here, &here_twice);
    memset(output, 0, samples * sizeof(double));
    for (Py_ssize_t n = 0; n < samples; n++) {
        const double x = signal[n], difference = x - previous;
        double there, there_twice;
        double *before = output + (n > 0 ? n : samples) - 1;
        integrals(c, x, &there, &there_twice);
        if (fabs(difference) > shortest) {
            const double change = there_twice - here_twice, inverse = 1.0 / (difference * difference);
            *before += (change - difference * here) * inverse;
            output[n] += (difference * there - change) * inverse;
        } else {
            for (int k = 0; k < 3; k++) {
                const double value = weights[k] * curve_at(c, previous + points[k] * difference);
                *before += (1.0 - points[k]) * value;
                output[n] += points[k] * value;
            }
        }
        previous = x;
        here = there;
        here_twice = there_twice;
    }
}

static PyObject *shape_averaged(PyObject *self, PyObject *const *given, Py_ssize_t count)
{
    static const Wanted curves[] = {{"curves", 2, 0, 0}};
    static const Wanted wanted[] = {{"signal", 1, 0, 0}, {"output", 1, 1, 0}};
    Array a[3];
    if (!counted(count, 6))
        return NULL;
    const double first = PyFloat_AsDouble(given[1]), step = PyFloat_AsDouble(given[2]);
    const double shortest = PyFloat_AsDouble(given[3]);
    if (PyErr_Occurred() || take_arrays(given, curves, 1, a) < 0)
        return NULL;
    if (take_arrays(given + 4, wanted, 2, a + 1) < 0) {
        let_go(a, 1);
        return NULL;
    }
    const Py_ssize_t nodes = a[0].shape[1];
    int fits = agree(a[0].shape[0] == 3 && nodes > 1 && a[1].shape[0] > 0
                     && a[1].shape[0] == a[2].shape[0]);
    if (fits) {
        const Curves c = {a[0].data, a[0].data + nodes, a[0].data + 2 * nodes, nodes - 1,
                          first, step, first + (double)(nodes - 1) * step};
        Py_BEGIN_ALLOW_THREADS
        run_shaper(&c, shortest, a[1].data, a[2].data, a[1].shape[0]);
        Py_END_ALLOW_THREADS
    }
    let_go(a, 3);
    if (!fits)
        return NULL;
    Py_RETURN_NONE;
}

/* ---- junctions: a guarded Newton method ---------------------------------------------- */

#define MOST_JUNCTIONS 4
#define MOST_ITERATIONS 40
#define CLOSE_VOLTS 2e-5
#define SMALLEST_STEP 1e-6

enum { VOLTS, OPEN, CURRENTS, SIEMENS, CHANGE, LAST, BEFORE, EARLIER, SPARE, WORK_ROWS };

/* Rows of `kinds`, `work` and `square` are as long as there are junctions. */
typedef struct {
    const double *kinds;
    double *work, *square;
} Junctions;

INLINE void solve_four(const double *m, double *right)
{
    double inverse = 1.0 / (m[0] * m[5] - m[1] * m[4]);
    const double a = inverse * m[5], b = -inverse * m[1], c = -inverse * m[4], d = inverse * m[0];
    const double x00 = a * m[2] + b * m[6], x01 = a * m[3] + b * m[7];
    const double x10 = c * m[2] + d * m[6], x11 = c * m[3] + d * m[7];
    const double y0 = a * right[0] + b * right[1], y1 = c * right[0] + d * right[1];
    const double s00 = m[10] - m[8] * x00 - m[9] * x10, s01 = m[11] - m[8] * x01 - m[9] * x11;
    const double s10 = m[14] - m[12] * x00 - m[13] * x10, s11 = m[15] - m[12] * x01 - m[13] * x11;
    const double r0 = right[2] - m[8] * y0 - m[9] * y1, r1 = right[3] - m[12] * y0 - m[13] * y1;
    inverse = 1.0 / (s00 * s11 - s01 * s10);
    right[2] = inverse * (s11 * r0 - s01 * r1);
    right[3] = inverse * (s00 * r1 - s10 * r0);
    right[0] = y0 - x00 * right[2] - x01 * right[3];
    right[1] = y1 - x10 * right[2] - x11 * right[3];
}

INLINE void solve_two(const double *m, double *right)
{
    const double inverse = 1.0 / (m[0] * m[3] - m[1] * m[2]);
    const double first = inverse * (m[3] * right[0] - m[1] * right[1]);
    right[1] = inverse * (m[0] * right[1] - m[2] * right[0]);
    right[0] = first;
}

INLINE double held_back(double volts, double step, double per_volt, double critical)
{
    if (volts <= 0.0)
        return critical - volts;
    return step > 0.0 ? log1p(step * per_volt) / per_volt : step;
}

INLINE int newton(const Junctions *at, const int p)
{
    const double *saturation = at->kinds, *per_volt = saturation + p, *critical = per_volt + p;
    const double *feedback = at->square;
    double *jacobian = at->square + p * p, *work = at->work;
    double *volts = work + VOLTS * p, *open = work + OPEN * p, *change = work + CHANGE * p;
    double *currents = work + CURRENTS * p, *siemens = work + SIEMENS * p;
    for (int iteration = 0; iteration < MOST_ITERATIONS; iteration++) {
        double moved = 0.0;
        for (int k = 0; k < p; k++) {
            const double growing = saturation[k] * exp(volts[k] * per_volt[k]);
            currents[k] = growing - saturation[k];
            siemens[k] = growing * per_volt[k];
        }
        for (int i = 0; i < p; i++) {
            double total = open[i] - volts[i];
            for (int j = 0; j < p; j++) {
                total += feedback[i * p + j] * currents[j];
                jacobian[i * p + j] = -feedback[i * p + j] * siemens[j];
            }
            jacobian[i * p + i] += 1.0;
            change[i] = total;
        }
        if (p == 4)
            solve_four(jacobian, change);
        else
            solve_two(jacobian, change);
        for (int k = 0; k < p; k++) {
            double step = change[k];
            if (volts[k] + step > critical[k] && fabs(step) * per_volt[k] > 2.0)
                step = held_back(volts[k], step, per_volt[k], critical[k]);
            moved += fabs(step);
            change[k] = step;
            volts[k] += step;
        }
        if (!isfinite(moved))
            return 0;
        if (moved < CLOSE_VOLTS) {
            for (int k = 0; k < p; k++)
                currents[k] += siemens[k] * change[k];
            return 1;
        }
    }
    return 0;
}

INLINE int approach(const Junctions *at, const int p)
{
    const double *saturation = at->kinds, *per_volt = saturation + p;
    double *work = at->work, *open = work + OPEN * p, *volts = work + VOLTS * p;
    double *last = work + LAST * p, *spare = work + SPARE * p;
    double wanted[MOST_JUNCTIONS], reached = 0.0, step = 0.5;
    memcpy(wanted, open, p * sizeof(double));
    for (int i = 0; i < p; i++) {
        double total = last[i];
        for (int j = 0; j < p; j++)
            total -= at->square[i * p + j] * (saturation[j] * (exp(last[j] * per_volt[j]) - 1.0));
        spare[i] = total;
    }
    while (reached < 1.0) {
        const double there = reached + step < 1.0 ? reached + step : 1.0;
        for (int i = 0; i < p; i++) {
            open[i] = spare[i] + there * (wanted[i] - spare[i]);
            volts[i] = last[i];
        }
        if (newton(at, p)) {
            memcpy(last, volts, p * sizeof(double));
            reached = there;
            step *= 2.0;
        } else {
            step *= 0.5;
            if (step < SMALLEST_STEP)
                return 0;
        }
    }
    return 1;
}

INLINE int guarded(const Junctions *at, const int p)
{
    double *work = at->work, *volts = work + VOLTS * p, *last = work + LAST * p;
    double *before = work + BEFORE * p, *earlier = work + EARLIER * p;
    for (int i = 0; i < p; i++) {
        volts[i] = 3.0 * (last[i] - before[i]) + earlier[i];
        earlier[i] = before[i];
        before[i] = last[i];
    }
    const int solved = newton(at, p) || approach(at, p);
    memcpy(last, volts, p * sizeof(double));
    return solved;
}

static int junction_arrays_agree(Py_ssize_t p, const Array *kinds, const Array *work,
                                 const Array *square)
{
    return agree((p == 2 || p == 4) && kinds->shape[0] == 3 && kinds->shape[1] == p
                 && work->shape[0] == WORK_ROWS && work->shape[1] == p
                 && (square == NULL || (square->shape[0] == 2 && square->shape[1] == p
                                        && square->shape[2] == p)));
}

static PyObject *solve_guarded(PyObject *self, PyObject *const *given, Py_ssize_t count)
{
    static const Wanted wanted[] = {{"kinds", 2, 0, 0}, {"work", 2, 1, 0}, {"square", 3, 1, 0}};
    Array a[3];
    if (!counted(count, 4))
        return NULL;
    const Py_ssize_t p = PySequence_Size(given[0]);
    if (p < 0 || take_arrays(given + 1, wanted, 3, a) < 0)
        return NULL;
    int solved = -1;
    if (junction_arrays_agree(p, &a[0], &a[1], &a[2])) {
        const Junctions at = {a[0].data, a[1].data, a[2].data};
        solved = p == 4 ? guarded(&at, 4) : guarded(&at, 2);
    }
    let_go(a, 3);
    return solved < 0 ? NULL : PyBool_FromLong(solved);
}

/* ---- a circuit with junctions --------------------------------------------------------- */

typedef struct {
    const double *table, *dials, *kinds, *rest, *weights, *dial, *emf;
    double *past, *work, *output;
    Py_ssize_t last_row, columns, length, states, emfs, samples, steps;
    double *room; /* the matrix by columns, entries, sums, three states */
} Driven;

/* Columns times their shares, `length` sums side by side. */
INLINE void add_columns(const double *columns, const double *shares, Py_ssize_t count,
                        const Py_ssize_t length, double *sums)
{
    for (Py_ssize_t j = 0; j < count; j++)
        for (Py_ssize_t i = 0; i < length; i++)
            sums[i] += columns[j * length + i] * shares[j];
}

INLINE Py_ssize_t step_driven(const Driven *run, const int p, const Py_ssize_t length)
{
    const Py_ssize_t states = run->states, used = states + run->emfs, linear = run->columns - p;
    const Py_ssize_t size = run->columns * length, steps = run->steps;
    double *now = run->room, *entry = now + size, *sums = entry + run->columns;
    double *newest = sums + length, *middle = newest + states, *oldest = middle + states;
    const double *of_currents = now + linear * length;
    const double *rest_volts = run->rest, *rest_currents = run->rest + p;
    double offset[MOST_JUNCTIONS] = {0.0}, extra[MOST_JUNCTIONS];
    double square[2 * MOST_JUNCTIONS * MOST_JUNCTIONS] = {0.0}, stands = -1.0;
    const Junctions at = {run->kinds, run->work, square};
    Py_ssize_t row = 0;
    memset(run->room, 0, (size + run->columns + length) * sizeof(double));
    memcpy(newest, run->past, 3 * states * sizeof(double));
    for (Py_ssize_t n = 0; n < run->samples; n++) {
        if (run->dial[n] != stands) {
            stands = run->dial[n];
            row = row_at(run->dials, run->last_row, stands, row);
            const double *low = run->table + row * size, *high = low + size;
            const double above =
                (stands - run->dials[row]) / (run->dials[row + 1] - run->dials[row]);
            for (Py_ssize_t i = 0; i < size; i++)
                now[i] = low[i] + above * (high[i] - low[i]);
            for (int i = 0; i < p; i++) {
                offset[i] = rest_volts[i];
                for (int j = 0; j < p; j++) {
                    square[i * p + j] = of_currents[j * length + states + i];
                    offset[i] -= square[i * p + j] * rest_currents[j];
                }
            }
        }
        for (Py_ssize_t q = 0; q < steps; q++) {
            for (Py_ssize_t j = 0; j < states; j++)
                entry[j] = run->weights[0] * newest[j] + run->weights[1] * middle[j]
                           + run->weights[2] * oldest[j];
            for (Py_ssize_t k = 0; k < run->emfs; k++)
                entry[states + k] = run->emf[(k * steps + q) * run->samples + n];
            memset(sums, 0, length * sizeof(double));
            add_columns(now, entry, used, length, sums);
            for (int i = 0; i < p; i++)
                run->work[OPEN * p + i] = sums[states + i] + offset[i];
            if (!guarded(&at, p))
                return n * steps + q;
            for (int j = 0; j < p; j++)
                extra[j] = run->work[CURRENTS * p + j] - rest_currents[j];
            add_columns(of_currents, extra, p, length, sums);
            double *spare = oldest;
            oldest = middle;
            middle = newest;
            newest = spare;
            memcpy(newest, sums, states * sizeof(double));
            run->output[n * steps + q] = sums[states + p];
        }
    }
    memcpy(run->past, newest, states * sizeof(double));
    memcpy(run->past + states, middle, states * sizeof(double));
    memcpy(run->past + 2 * states, oldest, states * sizeof(double));
    return -1;
}

WIDE static Py_ssize_t run_driven(const Driven *run, Py_ssize_t p)
{
    if (p == 4)
        return run->length == 20 ? step_driven(run, 4, 20) : step_driven(run, 4, run->length);
    return run->length == 20 ? step_driven(run, 2, 20) : step_driven(run, 2, run->length);
}

static PyObject *step_devices(PyObject *self, PyObject *const *given, Py_ssize_t count)
{
    static const Wanted wanted[] = {
        {"table", 3, 0, 0}, {"table_dials", 1, 0, 0}, {"kinds", 2, 0, 0}, {"rest", 2, 0, 0},
        {"weights", 1, 0, 0}, {"dial", 1, 0, 0}, {"emf", 2, 0, 0}, {"past", 2, 1, 0},
        {"work", 2, 1, 0}, {"output", 1, 1, 0}};
    Array a[10];
    if (!counted(count, 12))
        return NULL;
    const Py_ssize_t p = PySequence_Size(given[0]), linear = PySequence_Size(given[1]);
    if (p < 0 || linear < 0 || take_arrays(given + 2, wanted, 10, a) < 0)
        return NULL;
    Driven run = {a[0].data, a[1].data, a[2].data, a[3].data, a[4].data, a[5].data, a[6].data,
                  a[7].data, a[8].data, a[9].data, a[0].shape[0] - 2, a[0].shape[1],
                  a[0].shape[2], a[7].shape[1], 0, a[5].shape[0], 0, NULL};
    run.steps = run.samples > 0 ? a[9].shape[0] / run.samples : 1;
    run.emfs = run.steps > 0 ? a[6].shape[0] / run.steps : 0;
    if (!junction_arrays_agree(p, &a[2], &a[8], NULL)
        || !agree(run.last_row >= 0 && a[1].shape[0] == a[0].shape[0]
                  && a[3].shape[0] == 2 && a[3].shape[1] == p && a[4].shape[0] == 3
                  && run.steps > 0 && a[6].shape[1] == run.samples && a[7].shape[0] == 3
                  && a[9].shape[0] == run.steps * run.samples
                  && a[6].shape[0] == run.steps * run.emfs && run.columns == linear + p
                  && run.states + run.emfs <= linear && run.states + p < run.length)) {
        let_go(a, 10);
        return NULL;
    }
    Py_ssize_t failed = -1;
    run.room = malloc((run.columns * run.length + run.columns + run.length + 3 * run.states)
                      * sizeof(double));
    if (run.room != NULL) {
        Py_BEGIN_ALLOW_THREADS
        failed = run_driven(&run, p);
        Py_END_ALLOW_THREADS
    }
    let_go(a, 10);
    if (run.room == NULL)
        return PyErr_NoMemory();
    free(run.room);
    return PyLong_FromSsize_t(failed);
}

/* ---- the module ------------------------------------------------------------------------ */

#define FAST(function) {#function, (PyCFunction)(void (*)(void))function, METH_FASTCALL, NULL}
static PyMethodDef methods[] = {
    FAST(step_states), FAST(combine), FAST(filter_sections), FAST(shape_averaged),
    FAST(solve_guarded), FAST(step_devices), {NULL, NULL, 0, NULL}};
static PyModuleDef_Slot slots[] = {{0, NULL}};
static struct PyModuleDef module = {
    PyModuleDef_HEAD_INIT, "loops", "The loops over samples and steps.", 0, methods, slots,
    NULL, NULL, NULL};

PyMODINIT_FUNC PyInit_loops(void)
{
    return PyModuleDef_Init(&module);
}
