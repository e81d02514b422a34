/* A circuit with junctions, guitar and stage, step by step while the knob moves.

   With h the backward differentiation formula's sum of the last three states, u the EMFs and j the
   junctions' currents, one step is (volts, states, output) = matrix(dial) (h, u, j); see
   models/circuit/steps.py. All counts from the working point but the junctions' voltages. */

#include "junctions.h"
#include "linear.c"

enum { MOST_OUTS = 14 }; /* fours of states and output */

typedef struct {
    const double *table, *dials, *kinds, *rest, *weights, *dial, *emf;
    double *past, *junctions, *output, *room;
    int last_row, states, emfs, outs, samples, steps;
} Driven;

/* Junctions alone: u and K by columns are given, `solutions` the last three. */
FACE(solve) int solve(const double *kinds, const double *feedback, const double *open,
                      double *solutions, double *currents, int groups)
{
    Junctions at;
    memset(&at, 0, sizeof at);
    take_kinds(&at, kinds, groups);
    take_solutions(&at, solutions, groups);
    for (int g = 0; g < groups; g++) {
        at.open[g] = four_at(open + 4 * g);
        for (int j = 0; j < 4 * groups; j++)
            at.feedback[j][g] = four_at(feedback + 4 * (groups * j + g));
    }
    const int found = groups == 1 ? guarded(&at, 1) : guarded(&at, 2);
    keep_solutions(&at, solutions, groups);
    for (int g = 0; g < groups; g++)
        four_to(currents + 4 * g, at.currents[g]);
    return found;
}

INLINE int step_circuit(const Driven *run, const int groups, const int outs)
{
    const int states = run->states, used = states + run->emfs, junctions = 4 * groups;
    const int width = 4 * (groups + outs), size = (used + junctions) * width;
    const int steps = run->steps;
    double *now = run->room, *entry = now + size;
    const double *of_currents = now + used * width;
    Four newest[MOST_OUTS], middle[MOST_OUTS], oldest[MOST_OUTS];
    Four rest[MOST_GROUPS], offset[MOST_GROUPS];
    double stands = -1.0;
    int row = 0;
    Junctions at;
    memset(&at, 0, sizeof at);
    take_kinds(&at, run->kinds, groups);
    for (int k = 0; k < outs; k++) {
        newest[k] = four_at(run->past + 4 * k);
        middle[k] = four_at(run->past + 4 * (outs + k));
        oldest[k] = four_at(run->past + 4 * (2 * outs + k));
    }
    take_solutions(&at, run->junctions, groups);
    for (int g = 0; g < groups; g++)
        rest[g] = four_at(run->rest + 4 * (groups + g));
    for (int n = 0; n < run->samples; n++) {
        if (run->dial[n] != stands) {
            stands = run->dial[n];
            row = row_at(run->dials, run->last_row, stands, row);
            const double *low = run->table + (ptrdiff_t)row * size, *high = low + size;
            const double above =
                (stands - run->dials[row]) / (run->dials[row + 1] - run->dials[row]);
            for (int i = 0; i < size; i++)
                now[i] = low[i] + above * (high[i] - low[i]);
            for (int g = 0; g < groups; g++) {
                offset[g] = four_at(run->rest + 4 * g);
                for (int j = 0; j < junctions; j++) {
                    at.feedback[j][g] = four_at(of_currents + j * width + 4 * g);
                    offset[g] -= at.feedback[j][g] * rest[j / 4][j % 4];
                }
            }
        }
        for (int q = 0; q < steps; q++) {
            Four sums[MOST_GROUPS + MOST_OUTS];
            for (int k = 0; k < outs; k++)
                four_to(entry + 4 * k, run->weights[0] * newest[k] + run->weights[1] * middle[k]
                                           + run->weights[2] * oldest[k]);
            for (int k = 0; k < run->emfs; k++)
                entry[states + k] = run->emf[((ptrdiff_t)k * steps + q) * run->samples + n];
            for (int k = 0; k < groups + outs; k++)
                sums[k] = four_of(0.0);
            for (int j = 0; j < used; j++)
                for (int k = 0; k < groups + outs; k++)
                    sums[k] += four_at(now + j * width + 4 * k) * entry[j];
            for (int g = 0; g < groups; g++)
                at.open[g] = sums[g] + offset[g];
            if (!guarded(&at, groups))
                return n * steps + q;
            for (int j = 0; j < junctions; j++) {
                const double extra = at.currents[j / 4][j % 4] - rest[j / 4][j % 4];
                for (int k = groups; k < groups + outs; k++)
                    sums[k] += four_at(of_currents + j * width + 4 * k) * extra;
            }
            for (int k = 0; k < outs; k++) {
                oldest[k] = middle[k];
                middle[k] = newest[k];
                newest[k] = sums[groups + k];
            }
            run->output[n * steps + q] = sums[groups + states / 4][states % 4];
        }
    }
    for (int k = 0; k < outs; k++) {
        four_to(run->past + 4 * k, newest[k]);
        four_to(run->past + 4 * (outs + k), middle[k]);
        four_to(run->past + 4 * (2 * outs + k), oldest[k]);
    }
    keep_solutions(&at, run->junctions, groups);
    return -1;
}

/* Widths that are known when this is compiled stay in registers. */
WIDE static int run_circuit(const Driven *run, const int groups)
{
    if (groups > 1)
        return step_circuit(run, 2, run->outs);
    switch (run->outs) {
    case 3: return step_circuit(run, 1, 3);
    case 4: return step_circuit(run, 1, 4);
    default: return step_circuit(run, 1, run->outs);
    }
}

/* With g groups of junctions, m states and o = m / 4 + 1 fours of states and output: the table has
   rows of m + e + 4 g columns of 4 (g + o) numbers, `rest` voltages and currents, `past` three
   states, `junctions` three solutions, `emf` a row for each EMF and step, `room` one matrix and
   4 o + e numbers. The index of a step without a solution, or -1. */
FACE(circuit) int circuit(const double *table, const double *dials, int rows, int groups,
                          const double *kinds, const double *rest, const double *weights,
                          const double *dial, const double *emf, int emfs, int steps, int samples,
                          double *past, int states, double *junctions, double *output,
                          double *room)
{
    const Driven run = {table, dials, kinds, rest, weights, dial, emf, past, junctions, output,
                        room, rows - 2, states, emfs, states / 4 + 1, samples, steps};
    return run_circuit(&run, groups);
}
