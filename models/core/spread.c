/* Specific loudness spreads towards higher critical bands, as masking does. */

#include "four.h"

/* Of `count` spectra, each with a core loudness of `bands` bands: specific loudness at rates `step`
   apart, of which band b has those from starts[b] on, and the loudness that it adds up to. A fall
   of column c has the size sizes[k] at along[k][c]; sizes fall, the last of `ranges` is 0. Within a
   band the core loudness stands unless what falls from lower bands is larger. */
FACE(spread) void spread(const double *core, int count, int bands, const double *starts,
                         const double *sizes, const double *along, int ranges, int columns,
                         double step, double *specific, double *sone)
{
    const int rates = (int)starts[bands];
    for (int n = 0; n < count; n++, core += bands, specific += rates) {
        double reached = 0.0, loudness = 0.0;
        for (int b = 0; b < bands; b++) {
            const int first = (int)starts[b], end = (int)starts[b + 1];
            const int column = b < 2 ? 0 : b - 1 < columns ? b - 1 : columns - 1;
            const double *fall = along + column, own = core[b];
            double sum = 0.0, value = own;
            int k = 0;
            while (k < ranges - 2 && sizes[k + 1] > reached)
                k++;
            const double gone = fall[k * columns] + (fall[(k + 1) * columns] - fall[k * columns])
                                * (sizes[k] - reached) / (sizes[k] - sizes[k + 1]);
            for (int i = first; i < end; i++) {
                const double at = gone + step * (i + 1 - first);
                while (k < ranges - 2 && fall[(k + 1) * columns] < at)
                    k++;
                const double from = fall[k * columns], to = fall[(k + 1) * columns];
                const double fallen = at >= to ? sizes[k + 1]
                    : sizes[k] + (sizes[k + 1] - sizes[k]) * (at - from) / (to - from);
                value = own > fallen ? own : fallen;
                specific[i] = value;
                sum += value;
            }
            loudness += step * (sum + 0.5 * ((own > reached ? own : reached) - value));
            reached = value;
        }
        sone[n] = loudness;
    }
}
