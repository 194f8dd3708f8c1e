// A z-buffer over a batch of pictures. Built by person_raster.py: with nvcc for a graphics card, else with a C++ compiler.
//
// Every pixel is one 64-bit number, the depth's bits above and the face's number below. The least number wins, so the
// order in which faces are drawn changes nothing and the same pictures come out the same each time.
#include <cmath>
#include <cstdint>
#include <cstring>

#ifdef __CUDACC__
#define HERE __device__ static inline
HERE void keep_nearest(uint64_t *pixel, uint64_t value) { atomicMin((unsigned long long *)pixel, (unsigned long long)value); }
#else
#define HERE static inline
HERE void keep_nearest(uint64_t *pixel, uint64_t value) { if (value < *pixel) *pixel = value; }
#endif

// strips: so many threads share the rows of a face, for meshes with large faces.
struct Sizes { int batch, vertices, faces, own_faces, first, height, width, flat, strips; };

HERE const int *corners(const int *faces, const Sizes &s, int b, int face) {
  return faces + 3 * ((s.own_faces ? (size_t)b * s.faces : 0) + face);
}

// Shares of the three corners at (x, y) in the picture plane; false where the face is seen edge on.
HERE bool shares(const float *p, const float *q, const float *r, float x, float y, float *out) {
  float area = (q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1]);
  if (!(fabsf(area) > 1e-7f)) return false;
  out[1] = ((x - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (y - p[1])) / area;
  out[2] = ((q[0] - p[0]) * (y - p[1]) - (x - p[0]) * (q[1] - p[1])) / area;
  out[0] = 1.f - out[1] - out[2];
  return true;
}

HERE void draw_face(const float *points, const int *faces, uint64_t *pixels, const Sizes &s, int b, int face, int strip) {
  const int *at = corners(faces, s, b, face);
  if (at[0] < 0) return;
  const float *all = points + (size_t)b * s.vertices * 3, *p = all + 3 * at[0], *q = all + 3 * at[1], *r = all + 3 * at[2];
  if (!(p[2] > .05f && q[2] > .05f && r[2] > .05f)) return;  // behind the camera, or not shown
  int left = (int)ceilf(fmaxf(0.f, fminf(p[0], fminf(q[0], r[0])) - .5f));
  int right = (int)floorf(fminf(s.width - 1.f, fmaxf(p[0], fmaxf(q[0], r[0])) - .5f));
  int top = (int)ceilf(fmaxf(0.f, fminf(p[1], fminf(q[1], r[1])) - .5f));
  int bottom = (int)floorf(fminf(s.height - 1.f, fmaxf(p[1], fmaxf(q[1], r[1])) - .5f));
  for (int y = top + strip; y <= bottom; y += s.strips)
    for (int x = left; x <= right; x++) {
      float w[3];
      if (!shares(p, q, r, x + .5f, y + .5f, w)) return;
      if (w[0] < 0 || w[1] < 0 || w[2] < 0) continue;
      float depth = s.flat ? w[0] * p[2] + w[1] * q[2] + w[2] * r[2] : 1.f / (w[0] / p[2] + w[1] / q[2] + w[2] / r[2]);
      uint32_t bits;
      memcpy(&bits, &depth, 4);
      keep_nearest(pixels + ((size_t)b * s.height + y) * s.width + x, ((uint64_t)bits << 32) | (uint32_t)(s.first + face));
    }
}

// What the vertices carry, blended at pixel number where[i]; and the face's corner that is nearest there.
HERE void sample_pixel(const float *points, const int *faces, const float *carried, const uint64_t *pixels,
                       const int64_t *where, float *out, int64_t *nearest, const Sizes &s, int many, size_t i) {
  int64_t pixel = where[i];
  int b = pixel / ((int64_t)s.height * s.width), rest = pixel % ((int64_t)s.height * s.width);
  const int *at = corners(faces, s, b, (int)(uint32_t)pixels[pixel] - s.first);
  const float *all = points + (size_t)b * s.vertices * 3, *c[3] = {all + 3 * at[0], all + 3 * at[1], all + 3 * at[2]};
  float w[3];
  shares(c[0], c[1], c[2], rest % s.width + .5f, rest / s.width + .5f, w);
  float sum = 0;
  for (int k = 0; k < 3; k++) { w[k] /= c[k][2]; sum += w[k]; }
  int best = w[0] >= w[1] && w[0] >= w[2] ? 0 : w[1] >= w[2] ? 1 : 2;
  nearest[i] = at[best];
  for (int j = 0; j < many; j++) {
    float value = 0;
    for (int k = 0; k < 3; k++) value += w[k] / sum * carried[((size_t)b * s.vertices + at[k]) * many + j];
    out[i * many + j] = value;
  }
}

#ifdef __CUDACC__
__global__ static void draw_kernel(const float *points, const int *faces, uint64_t *pixels, Sizes s) {
  int face = blockIdx.x * blockDim.x + threadIdx.x;
  if (face < s.faces) draw_face(points, faces, pixels, s, blockIdx.y, face, blockIdx.z);
}
__global__ static void sample_kernel(const float *points, const int *faces, const float *carried, const uint64_t *pixels,
                                     const int64_t *where, float *out, int64_t *nearest, Sizes s, int many, size_t count) {
  size_t i = (size_t)blockIdx.x * blockDim.x + threadIdx.x;
  if (i < count) sample_pixel(points, faces, carried, pixels, where, out, nearest, s, many, i);
}
#endif

extern "C" void draw(const float *points, const int *faces, uint64_t *pixels, Sizes s, void *stream) {
#ifdef __CUDACC__
  draw_kernel<<<dim3((s.faces + 127) / 128, s.batch, s.strips), 128, 0, (cudaStream_t)stream>>>(points, faces, pixels, s);
#else
  s.strips = 1;
  for (int b = 0; b < s.batch; b++)
    for (int face = 0; face < s.faces; face++) draw_face(points, faces, pixels, s, b, face, 0);
#endif
}

extern "C" void sample(const float *points, const int *faces, const float *carried, const uint64_t *pixels,
                       const int64_t *where, float *out, int64_t *nearest, Sizes s, int many, size_t count, void *stream) {
  if (!count) return;
#ifdef __CUDACC__
  sample_kernel<<<(unsigned)((count + 127) / 128), 128, 0, (cudaStream_t)stream>>>(points, faces, carried, pixels, where,
                                                                                out, nearest, s, many, count);
#else
  for (size_t i = 0; i < count; i++) sample_pixel(points, faces, carried, pixels, where, out, nearest, s, many, i);
#endif
}
