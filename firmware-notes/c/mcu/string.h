/* What jig.c and level.c need of a C library, for a core that has none. */
#ifndef STRING_H
#define STRING_H

#include <stddef.h>

void *memset(void *to, int c, size_t n);
void *memcpy(void *restrict to, const void *restrict from, size_t n);
void *memmove(void *to, const void *from, size_t n);
int memcmp(const void *a, const void *b, size_t n);
int strcmp(const char *a, const char *b);
char *strchr(const char *s, int c);
size_t strlen(const char *s);

#endif
