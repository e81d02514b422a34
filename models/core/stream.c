/* A guitar as it is played: from a take's samples through its filters and the knob, in one call.

   Everything that a stream has stands in one piece of memory, `all`: sizes, what comes in and goes
   out, filters, the table over the dial, and what is remembered. The take's last samples stand in a
   row, which is moved back to its beginning once it is full. */

#include "four.h"

enum { CHUNK = 64, SIZES = 16 };

/* What lies beyond the taps: decays, each a complex number that turns and shrinks from sample to
   sample, added to so many signals as each one's weights say. They come four by four, side by side,
   since each waits for its own last step. */
INLINE void add_decays(int fours, const double *poles, double *states, const double *weights,
                       const double *given, int signals, double *known, int apart, int samples)
{
    double parts[8][CHUNK];
    for (int f = 0; f < fours; f++, poles += 8, states += 8) {
        double now[8];
        memcpy(now, states, sizeof now);
        for (int n = 0; n < samples; n++)
            for (int k = 0; k < 8; k += 2) {
                const double next = poles[k] * now[k] - poles[k + 1] * now[k + 1] + given[n];
                parts[k + 1][n] = now[k + 1] = poles[k + 1] * now[k] + poles[k] * now[k + 1];
                parts[k][n] = now[k] = next;
            }
        memcpy(states, now, sizeof now);
        for (int p = 0; p < signals; p++) {
            const double *share = weights + 8 * ((ptrdiff_t)p * fours + f);
            double *to = known + (ptrdiff_t)p * apart;
            for (int n = 0; n < samples; n++) {
                double sum = to[n];
                for (int k = 0; k < 8; k += 2)
                    sum += share[k] * parts[k][n] - share[k + 1] * parts[k + 1][n];
                to[n] = sum;
            }
        }
    }
}

/* Of the take, `phases` signals follow by `taps` of each and `fours` of decays after them; of each
   of `groups` of them, `instants` by `around` taps: the EMF. `row` numbers hold the take's last
   samples, the newest before `at`, and `most` samples come at once. So `all` begins, with the
   table's rows, outs and entries, of which there are none where the EMF itself is wanted, whether
   the dial goes from `start` to `end` along a line or stands beside the samples, and the row of
   the table that `room` holds, or -1. */
WIDE static void run_stream(double *all, int samples)
{
    const int phases = (int)all[0], taps = (int)all[1], groups = (int)all[2];
    const int instants = (int)all[3], around = (int)all[4], row = (int)all[5], most = (int)all[6];
    const int rows = (int)all[7], outs = (int)all[8], entries = (int)all[9];
    const int fours = (int)all[14];
    const double start = all[12], end = all[13];
    const int each = phases / groups, apart = around - 1 + CHUNK;
    int at = (int)all[10];
    double *take = all + SIZES, *dial = take + most, *output = dial + most, *emf = output + most;
    double *filters = emf + (ptrdiff_t)groups * instants * most;
    double *heard = filters + (ptrdiff_t)phases * taps;
    double *known = heard + row, *kernels = known + (ptrdiff_t)phases * apart;
    double *poles = kernels + (ptrdiff_t)instants * each * around;
    double *left = poles + 8 * fours, *weights = left + 8 * fours;
    double *table = weights + 8 * (ptrdiff_t)phases * fours;
    double *dials = table + (ptrdiff_t)rows * outs * entries, *states = dials + rows;
    double *room = states + outs;
    for (int done = 0; done < samples;) {
        const int count = samples - done < CHUNK ? samples - done : CHUNK;
        if (at + count > row) {
            memmove(heard, heard + at - taps, taps * sizeof(double));
            at = taps;
        }
        memcpy(heard + at, take + done, count * sizeof(double));
        const Combining first = {heard + at - (taps - 1), filters, known + around - 1, 0, 1, taps,
                                 phases, count, apart};
        run_combine(&first);
        add_decays(fours, poles, left, weights, heard + at - taps, phases, known + around - 1, apart,
                   count);
        at += count;
        for (int g = 0; g < groups; g++) {
            const Combining between = {known + (ptrdiff_t)g * each * apart, kernels,
                                       emf + (ptrdiff_t)g * instants * most + done, apart, each,
                                       around, instants, count, most};
            run_combine(&between);
        }
        for (int p = 0; p < phases; p++)
            memmove(known + (ptrdiff_t)p * apart, known + (ptrdiff_t)p * apart + count,
                    (around - 1) * sizeof(double));
        done += count;
    }
    all[10] = at;
    if (!rows)
        return;
    if (all[11] != 0.0) {
        const double each_step = (end - start) / samples;
        for (int n = 0; n < samples; n++)
            dial[n] = start + each_step * (n + 1);
    }
    const Linear knob = {table, dials, dial, emf, states, output, room, rows - 2, outs, entries,
                         samples, most, (int)all[15]};
    all[15] = run_linear(&knob);
}

FACE(stream) void stream(double *all, int samples) { run_stream(all, samples); }
