/* Short sums around each sample: what lies between samples, and decimation. */

#include "four.h"

typedef struct {
    const double *signals, *kernels;
    double *output;
    int apart, phases, taps, instants, samples, out_apart;
} Combining;

/* `rows` results at once from instant `first` on, eight samples of each side by side. */
INLINE void combine_rows(const Combining *run, int first, const int rows)
{
    const int taps = run->taps, phases = run->phases, each = phases * taps;
    const double *kernels = run->kernels + first * each;
    double *output = run->output + (ptrdiff_t)first * run->out_apart;
    int n = 0;
    for (; n + 8 <= run->samples; n += 8) {
        Four low[4], high[4];
        memset(low, 0, sizeof low);
        memset(high, 0, sizeof high);
        for (int j = 0; j < phases; j++)
            for (int k = 0; k < taps; k++) {
                const double *from = run->signals + (ptrdiff_t)j * run->apart + n + k;
                const Four near = four_at(from), far = four_at(from + 4);
                for (int i = 0; i < rows; i++) {
                    const double weight = kernels[i * each + j * taps + k];
                    low[i] += near * weight;
                    high[i] += far * weight;
                }
            }
        for (int i = 0; i < rows; i++) {
            four_to(output + (ptrdiff_t)i * run->out_apart + n, low[i]);
            four_to(output + (ptrdiff_t)i * run->out_apart + n + 4, high[i]);
        }
    }
    for (; n < run->samples; n++)
        for (int i = 0; i < rows; i++) {
            double sum = 0.0;
            for (int j = 0; j < phases; j++)
                for (int k = 0; k < taps; k++)
                    sum += kernels[i * each + j * taps + k]
                           * run->signals[(ptrdiff_t)j * run->apart + n + k];
            output[(ptrdiff_t)i * run->out_apart + n] = sum;
        }
}

WIDE static void run_combine(const Combining *run)
{
    int done = 0;
    for (; done + 4 <= run->instants; done += 4)
        combine_rows(run, done, 4);
    for (; done < run->instants; done++)
        combine_rows(run, done, 1);
}

/* Each of `instants` results at a sample is the sum over `phases` signals and `taps` samples from
   this one on, weighted; rows of signals and output lie apart. */
FACE(combine) void combine(const double *signals, int apart, int phases, const double *kernels,
                           int taps, int instants, double *output, int out_apart, int samples)
{
    const Combining run = {signals, kernels, output, apart, phases, taps, instants, samples,
                           out_apart};
    run_combine(&run);
}
