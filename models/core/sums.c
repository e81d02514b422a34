/* Short sums around each sample: what lies between samples, and decimation. */

#include "four.h"

typedef struct {
    const double *signals, *kernels;
    double *output;
    int apart, phases, taps, instants, samples, out_apart;
} Combining;

/* `rows` results at once from instant `first` on, and of each four times `wide` samples side by
   side: eight sums in all, which stay in registers. Of every fourth tap, so that what is four
   samples on has been read already. */
INLINE void combine_rows(const Combining *run, int first, const int rows, const int wide)
{
    const int taps = run->taps, phases = run->phases, each = phases * taps;
    const double *kernels = run->kernels + (ptrdiff_t)first * each;
    double *output = run->output + (ptrdiff_t)first * run->out_apart;
    int n = 0;
    for (; n + 4 * wide <= run->samples; n += 4 * wide) {
        Four sums[8];
        memset(sums, 0, sizeof sums);
        for (int j = 0; j < phases; j++)
            for (int first_tap = 0; first_tap < 4 && first_tap < taps; first_tap++) {
                const double *from = run->signals + (ptrdiff_t)j * run->apart + n;
                Four along[8];
                for (int w = 0; w + 1 < wide; w++)
                    along[w] = four_at(from + first_tap + 4 * w);
                for (int k = first_tap; k < taps; k += 4) {
                    along[wide - 1] = four_at(from + k + 4 * (wide - 1));
                    for (int i = 0; i < rows; i++) {
                        const double weight = kernels[(ptrdiff_t)i * each + j * taps + k];
                        for (int w = 0; w < wide; w++)
                            sums[i * wide + w] += along[w] * weight;
                    }
                    for (int w = 0; w + 1 < wide; w++)
                        along[w] = along[w + 1];
                }
            }
        for (int i = 0; i < rows; i++)
            for (int w = 0; w < wide; w++)
                four_to(output + (ptrdiff_t)i * run->out_apart + n + 4 * w, sums[i * wide + w]);
    }
    for (; n < run->samples; n++)
        for (int i = 0; i < rows; i++) {
            double sum = 0.0;
            for (int j = 0; j < phases; j++)
                for (int k = 0; k < taps; k++)
                    sum += kernels[(ptrdiff_t)i * each + j * taps + k]
                           * run->signals[(ptrdiff_t)j * run->apart + n + k];
            output[(ptrdiff_t)i * run->out_apart + n] = sum;
        }
}

WIDE static void run_combine(const Combining *run)
{
    int done = 0;
    for (; done + 4 <= run->instants; done += 4)
        combine_rows(run, done, 4, 2);
    for (; done + 2 <= run->instants; done += 2)
        combine_rows(run, done, 2, 4);
    for (; done < run->instants; done++)
        combine_rows(run, done, 1, 8);
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
