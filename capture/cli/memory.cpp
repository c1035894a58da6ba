#include "cli/memory.hpp"

#include <cstdlib>  // says whether it is glibc's

#ifdef __GLIBC__
#include <malloc.h>
#include <sys/mman.h>

#include <opencv2/core.hpp>
#endif

namespace bindhue::capture::cli {

#ifdef __GLIBC__
namespace {

constexpr std::size_t page = std::size_t{2} << 20U;

// As OpenCV's own allocator has it, which keeps the small ones (and those whose memory is a caller's).
class LargePages : public cv::MatAllocator {
  public:
    cv::UMatData* allocate(int dims, const int* sizes, int type, void* data, std::size_t* step, cv::AccessFlag flags, cv::UMatUsageFlags usage) const override {
        std::size_t total = CV_ELEM_SIZE(type);
        for (int i = dims - 1; i >= 0; --i) total *= static_cast<std::size_t>(sizes[i]);
        if (data != nullptr || total < page) return small_->allocate(dims, sizes, type, data, step, flags, usage);
        const std::size_t size = (total + page - 1) / page * page;
        void* memory = std::aligned_alloc(page, size);
        if (memory == nullptr) return small_->allocate(dims, sizes, type, data, step, flags, usage);  // which says that there is none
        madvise(memory, size, MADV_HUGEPAGE);  // no more than a wish
        std::size_t reach = CV_ELEM_SIZE(type);
        for (int i = dims - 1; i >= 0; --i) {
            if (step != nullptr) step[i] = reach;
            reach *= static_cast<std::size_t>(sizes[i]);
        }
        auto* out = new cv::UMatData(this);
        out->data = out->origdata = static_cast<unsigned char*>(memory);
        out->size = total;
        return out;
    }
    bool allocate(cv::UMatData* data, cv::AccessFlag, cv::UMatUsageFlags) const override { return data != nullptr; }
    void deallocate(cv::UMatData* data) const override {
        if (data == nullptr) return;
        std::free(data->origdata);
        data->origdata = nullptr;
        delete data;
    }

  private:
    cv::MatAllocator* small_ = cv::Mat::getStdAllocator();
};

}  // namespace

void take_memory_in_large_pages() {
    static LargePages pages;
    cv::Mat::setDefaultAllocator(&pages);
    constexpr int kept = 64 << 20;
    mallopt(M_MMAP_THRESHOLD, kept);
    mallopt(M_TRIM_THRESHOLD, kept);
}
#else
void take_memory_in_large_pages() {}
#endif

}  // namespace bindhue::capture::cli
