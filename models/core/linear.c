/* The recursion of a guitar whose knob moves.

   With v = (states, each EMF at the nodes of the step), one sample is
   (states, output) = matrix(dial) v, the matrix lying between two rows of a table over the dial;
   how it comes about is said in models/circuit/recursion.py. */

#include "four.h"

enum { MOST_WIDE = 16 };

/* The row a dial lies above, found by walking from the last: the knob moves a little at a time. */
INLINE int row_at(const double *dials, int last_row, double dial, int row)
{
    while (row < last_row && dial >= dials[row + 1])
        row++;
    while (row > 0 && dial < dials[row])
        row--;
    return row;
}

typedef struct {
    const double *table, *dials, *dial, *emf;
    double *states, *output, *room;
    int last_row, outs, entries, samples, apart;
    /* That `room` holds from the last time, or -1. */
    int row;
} Linear;

/* Write a row's matrix, and how far the next lies from it, by columns, the EMF's first. */
static void take_row(const Linear *run, int row, int width)
{
    const int outs = run->outs, entries = run->entries, nodes = entries - outs + 1;
    const double *one = run->table + (ptrdiff_t)row * outs * entries, *next = one + outs * entries;
    double *low = run->room, *rise = low + entries * width;
    for (int j = 0; j < entries; j++) {
        const int from = j < nodes ? outs - 1 + j : j - nodes;
        for (int i = 0; i < outs; i++) {
            low[j * width + i] = one[i * entries + from];
            rise[j * width + i] = next[i * entries + from] - one[i * entries + from];
        }
    }
}

/* Columns are four times `wide` long, filled up with zeros: their sums run side by side, and
   stay in registers, since `wide` is known when this is compiled. */
INLINE int step_linear(const Linear *run, const int wide)
{
    const int states = run->outs - 1, nodes = run->entries - states;
    const int width = 4 * wide, square = run->entries * width, samples = run->samples;
    const double *low = run->room, *rise = low + square;
    double *now = run->room + 2 * square;
    double last[4 * MOST_WIDE] = {0.0}, stands = -1.0, base = 0.0, scale = 0.0;
    int row = run->row, resting = 0;
    if (row < 0)
        memset(run->room, 0, 3 * square * sizeof(double));
    else {
        base = run->dials[row];
        scale = 1.0 / (run->dials[row + 1] - base);
    }
    memcpy(last, run->states, states * sizeof(double));
    for (int n = 0; n < samples; n++) {
        const double dial = run->dial[n], *emf = run->emf + n;
        Four sums[MOST_WIDE];
        memset(sums, 0, wide * sizeof(Four));
        if (dial != stands) {
            const int here = row_at(run->dials, run->last_row, dial, row < 0 ? 0 : row);
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
            for (int i = 0; i < square; i++)
                now[i] = low[i] + above * rise[i];
            resting = 1;
        }
        if (resting) {
            for (int j = 0; j < nodes; j++)
                for (int k = 0; k < wide; k++)
                    sums[k] += four_at(now + j * width + 4 * k) * emf[(ptrdiff_t)j * run->apart];
            const double *own = now + nodes * width;
            for (int j = 0; j < states; j++)
                for (int k = 0; k < wide; k++)
                    sums[k] += four_at(own + j * width + 4 * k) * last[j];
        } else {
            const double above = (dial - base) * scale;
            for (int j = 0; j < run->entries; j++) {
                const double share = j < nodes ? emf[(ptrdiff_t)j * run->apart] : last[j - nodes];
                for (int k = 0; k < wide; k++) {
                    const int at = j * width + 4 * k;
                    sums[k] += (four_at(low + at) + four_at(rise + at) * above) * share;
                }
            }
        }
        for (int k = 0; k < wide; k++)
            four_to(last + 4 * k, sums[k]);
        run->output[n] = last[states];
    }
    memcpy(run->states, last, states * sizeof(double));
    return row;
}

/* The row that `room` holds then. */
WIDE static int run_linear(const Linear *run)
{
    const int wide = (run->outs + 3) / 4;
    switch (wide) {
    case 1: return step_linear(run, 1);
    case 2: return step_linear(run, 2);
    case 3: return step_linear(run, 3);
    case 4: return step_linear(run, 4);
    default: return step_linear(run, wide);
    }
}

/* `outs` is one more than there are states, and at most 64; `entries` is how many numbers v has;
   rows of `emf` lie `apart`; `room` holds three matrices whose columns are filled up to fours. */
FACE(linear) void linear(const double *table, const double *dials, int rows, int outs, int entries,
                         const double *dial, const double *emf, int apart, int samples,
                         double *states, double *output, double *room)
{
    const Linear run = {table, dials, dial, emf, states, output, room, rows - 2, outs, entries,
                        samples, apart, -1};
    run_linear(&run);
}
