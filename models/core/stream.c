/* A guitar as it is played: from a take's samples through its filters and the knob, in one call.

   Everything that a stream has stands in one piece of memory, `all`: sizes, what comes in and goes
   out, filters, the table over the dial, and what is remembered. The take's last samples stand in a
   row, which is moved back to its beginning once it is full. */

#include "four.h"

enum { CHUNK = 64, SIZES = 16 };

/* Of the take, `phases` signals follow by `taps` of each; of each of `groups` of them, `instants`
   by `around` taps; `row` numbers hold the take's last samples, the newest before `at`, and `most`
   samples come at once. So `all` begins, with the table's rows, outs and entries, and whether the
   dial goes from `start` to `end` along a line or stands beside the samples. */
FACE(stream) void stream(double *all, int samples)
{
    const int phases = (int)all[0], taps = (int)all[1], groups = (int)all[2];
    const int instants = (int)all[3], around = (int)all[4], row = (int)all[5], most = (int)all[6];
    const int rows = (int)all[7], outs = (int)all[8], entries = (int)all[9];
    const double start = all[12], end = all[13];
    const int each = phases / groups, apart = around - 1 + CHUNK;
    int at = (int)all[10];
    double *take = all + SIZES, *dial = take + most, *output = dial + most;
    double *filters = output + most, *heard = filters + (ptrdiff_t)phases * taps;
    double *known = heard + row, *kernels = known + (ptrdiff_t)phases * apart;
    double *emf = kernels + (ptrdiff_t)instants * each * around;
    double *table = emf + (ptrdiff_t)groups * instants * CHUNK;
    double *dials = table + (ptrdiff_t)rows * outs * entries, *states = dials + rows;
    double *room = states + outs;
    if (all[11] != 0.0) {
        const double each_step = (end - start) / samples;
        for (int n = 0; n < samples; n++)
            dial[n] = start + each_step * (n + 1);
    }
    for (int done = 0; done < samples;) {
        const int count = samples - done < CHUNK ? samples - done : CHUNK;
        if (at + count > row) {
            memmove(heard, heard + at - (taps - 1), (taps - 1) * sizeof(double));
            at = taps - 1;
        }
        memcpy(heard + at, take + done, count * sizeof(double));
        const Combining first = {heard + at - (taps - 1), filters, known + around - 1, 0, 1, taps,
                                 phases, count, apart};
        run_combine(&first);
        at += count;
        for (int g = 0; g < groups; g++) {
            const Combining between = {known + (ptrdiff_t)g * each * apart, kernels,
                                       emf + (ptrdiff_t)g * instants * CHUNK, apart, each, around,
                                       instants, count, CHUNK};
            run_combine(&between);
        }
        for (int p = 0; p < phases; p++)
            memmove(known + (ptrdiff_t)p * apart, known + (ptrdiff_t)p * apart + count,
                    (around - 1) * sizeof(double));
        const Linear knob = {table, dials, dial + done, emf, states, output + done, room, rows - 2,
                             outs, entries, count, CHUNK};
        run_linear(&knob);
        done += count;
    }
    all[10] = at;
}
