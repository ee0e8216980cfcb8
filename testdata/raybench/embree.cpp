// The reference side of cmd/raybench: single-ray calls of Embree 3 with its defaults, on the scene and the rays in a
// folder. Commands come on standard input, each is answered by one line.
//
//   build                                    builds both hierarchies
//   time full|inner SET true|false FROM N    CPU seconds for N rays; true: any hit will do
//   hits full|inner SET true|false FILE      distances of all hits, -1 for a miss, as floats
#include <embree3/rtcore.h>
#include <pmmintrin.h>
#include <time.h>
#include <xmmintrin.h>
#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <iostream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

struct Ray { float ox, oy, oz, near, dx, dy, dz, far; };
struct Shell { std::vector<float> v; std::vector<unsigned> t; };

static std::string folder;
static std::vector<Shell> shells;
static RTCDevice device;
static std::map<std::string, RTCScene> scenes;
static std::map<std::string, std::vector<Ray>> sets;
static std::atomic<long long> memory{0};

static double cpu() {
  timespec t;
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
  return t.tv_sec + t.tv_nsec * 1e-9;
}

static bool count(void*, ssize_t bytes, bool) { memory += bytes; return true; }

static void need(bool ok, const char* what) {
  if (!ok) { perror(what); exit(1); }
}

static std::vector<Ray>& rays(const std::string& name) {
  auto& v = sets[name];
  if (v.empty()) {
    FILE* f = fopen((folder + "/" + name + ".rays").c_str(), "rb");
    need(f, "rays");
    fseek(f, 0, SEEK_END);
    v.resize(ftell(f) / sizeof(Ray));
    rewind(f);
    need(fread(v.data(), sizeof(Ray), v.size(), f) == v.size(), "rays");
    fclose(f);
  }
  return v;
}

static RTCScene build(size_t n, double& seconds) {
  RTCScene s = rtcNewScene(device);
  for (size_t i = 0; i < n; i++) {
    const Shell& m = shells[i];
    RTCGeometry g = rtcNewGeometry(device, RTC_GEOMETRY_TYPE_TRIANGLE);
    memcpy(rtcSetNewGeometryBuffer(g, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3, 12, m.v.size() / 3), m.v.data(), m.v.size() * 4);
    memcpy(rtcSetNewGeometryBuffer(g, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, 12, m.t.size() / 3), m.t.data(), m.t.size() * 4);
    rtcCommitGeometry(g);
    rtcAttachGeometryByID(s, g, i);
    rtcReleaseGeometry(g);
  }
  double t = cpu();
  rtcCommitScene(s);
  seconds = cpu() - t;
  return s;
}

static void closest(RTCScene s, const Ray* r, size_t n, float* out) {
  RTCIntersectContext c;
  rtcInitIntersectContext(&c);
  alignas(16) RTCRayHit h;
  for (size_t i = 0; i < n; i++) {
    const Ray& q = r[i];
    h.ray.org_x = q.ox; h.ray.org_y = q.oy; h.ray.org_z = q.oz; h.ray.tnear = q.near;
    h.ray.dir_x = q.dx; h.ray.dir_y = q.dy; h.ray.dir_z = q.dz; h.ray.tfar = q.far;
    h.ray.time = 0; h.ray.mask = -1; h.ray.flags = 0;
    h.hit.geomID = RTC_INVALID_GEOMETRY_ID; h.hit.instID[0] = RTC_INVALID_GEOMETRY_ID;
    rtcIntersect1(s, &c, &h);
    if (out) out[i] = h.hit.geomID != RTC_INVALID_GEOMETRY_ID ? h.ray.tfar : -1;
  }
}

static void occluded(RTCScene s, const Ray* r, size_t n, float* out) {
  RTCIntersectContext c;
  rtcInitIntersectContext(&c);
  alignas(16) RTCRay h;
  for (size_t i = 0; i < n; i++) {
    const Ray& q = r[i];
    h.org_x = q.ox; h.org_y = q.oy; h.org_z = q.oz; h.tnear = q.near;
    h.dir_x = q.dx; h.dir_y = q.dy; h.dir_z = q.dz; h.tfar = q.far;
    h.time = 0; h.mask = -1; h.flags = 0;
    rtcOccluded1(s, &c, &h);
    if (out) out[i] = h.tfar < 0 ? 0 : -1;
  }
}

int main(int n, char** args) {
  _MM_SET_FLUSH_ZERO_MODE(_MM_FLUSH_ZERO_ON);
  _MM_SET_DENORMALS_ZERO_MODE(_MM_DENORMALS_ZERO_ON);
  need(n == 2, "a folder is needed");
  folder = args[1];
  FILE* f = fopen((folder + "/scene.bin").c_str(), "rb");
  need(f, "scene");
  for (int i = 0; i < 2; i++) {
    unsigned h[2];
    need(fread(h, 4, 2, f) == 2, "scene");
    Shell m;
    m.v.resize(3 * h[0]);
    m.t.resize(3 * h[1]);
    need(fread(m.v.data(), 4, m.v.size(), f) == m.v.size() && fread(m.t.data(), 4, m.t.size(), f) == m.t.size(), "scene");
    shells.push_back(m);
  }
  fclose(f);
  device = rtcNewDevice("threads=1");
  rtcSetDeviceMemoryMonitorFunction(device, count, nullptr);
  std::string line;
  while (std::getline(std::cin, line)) {
    std::istringstream is(line);
    std::string cmd, shell, set, any;
    is >> cmd;
    if (cmd == "build") {
      double full, inner;
      scenes["full"] = build(2, full);
      long long m = memory;
      scenes["inner"] = build(1, inner);
      printf("Embree %s, built in %.2f CPU s, %.1f MB with its copies of vertices and indices\n", RTC_VERSION_STRING, full, m / 1e6);
    } else {
      is >> shell >> set >> any;
      auto& r = rays(set);
      if (cmd == "time") {
        size_t from, count;
        is >> from >> count;
        double t = cpu();
        if (any == "true") occluded(scenes[shell], r.data() + from, count, nullptr);
        else closest(scenes[shell], r.data() + from, count, nullptr);
        printf("%.6f\n", cpu() - t);
      } else {
        std::string file;
        is >> file;
        std::vector<float> out(r.size());
        if (any == "true") occluded(scenes[shell], r.data(), r.size(), out.data());
        else closest(scenes[shell], r.data(), r.size(), out.data());
        FILE* g = fopen(file.c_str(), "wb");
        need(g && fwrite(out.data(), 4, out.size(), g) == out.size(), "hits");
        fclose(g);
        printf("written\n");
      }
    }
    fflush(stdout);
  }
}
