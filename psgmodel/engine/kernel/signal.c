/* Signal: a list of changes that grows. */
#ifdef __linux__
#define _DEFAULT_SOURCE
#include <sys/mman.h>
#endif

#include <stdlib.h>
#include <string.h>

#include "kernel.h"

/* Return `count` bytes that begin with the `used` bytes of some memory, which is given back; NULL where there are none.
 * Much memory is taken in large pages, as NumPy takes it: small ones take longer to get than to fill. */
static void *grown(void *memory, size_t used, size_t count)
{
#ifdef MADV_HUGEPAGE
    const size_t large = (size_t)1 << 21;
    void *found;
    if (count >= 2 * large) {
        if (posix_memalign(&found, large, count))
            return NULL;
        madvise(found, count, MADV_HUGEPAGE);
        if (used)
            memcpy(found, memory, used);
        free(memory);
        return found;
    }
#endif
    (void)used;
    return realloc(memory, count);
}

/* Make room for `more` further entries; return 0, and keep nothing from then on, where memory runs out. */
int signal_reserve(struct signal *s, i64 more)
{
    if (s->failed)
        return 0;
    if (s->size + more <= s->room)
        return 1;
    i64 room = 3 * s->room + more + 256; /* what is not written to costs nothing */
    i64 *cycle = grown(s->cycle, (size_t)s->size * sizeof *cycle, (size_t)room * sizeof *cycle);
    if (cycle)
        s->cycle = cycle;
    int32_t *level = grown(s->level, (size_t)s->size * sizeof *level, (size_t)room * sizeof *level);
    if (level)
        s->level = level;
    if (!cycle || !level) {
        s->failed = 1;
        return 0;
    }
    s->room = room;
    return 1;
}

void signal_free(struct signal *s)
{
    free(s->cycle);
    free(s->level);
    s->cycle = NULL;
    s->level = NULL;
    s->size = s->room = 0;
}
